"""All checks, one after another."""

from collections.abc import Callable
from dataclasses import dataclass, replace

from sequencer.base.codes_explore import CODES as OF_EXPLORING
from sequencer.base.findings import Finding, Severity, worst_first
from sequencer.base.places import Place
from sequencer.check.accepted import Judged, settle
from sequencer.check.drives import check_drives
from sequencer.check.explore.run import Exploring, check_explored
from sequencer.check.graph import check_graph
from sequencer.check.holds import check_holds
from sequencer.check.leftovers import check_leftovers
from sequencer.check.names import check_names
from sequencer.check.noise import check_noise
from sequencer.check.order import check_order
from sequencer.check.questions import Askers
from sequencer.check.reach import check_reach
from sequencer.check.rules import check_rules
from sequencer.check.safety import check_safety
from sequencer.check.satisfiable import check_satisfiable
from sequencer.check.stop import check_stop
from sequencer.check.symmetry import check_symmetry
from sequencer.check.waits import check_waits
from sequencer.check.weight import check_weight
from sequencer.check.wiring import check_wiring
from sequencer.plan.tables import Plan

MOST_NOTES = 8
EXPLORED = frozenset(info.code for info in OF_EXPLORING)


@dataclass(frozen=True, slots=True)
class Family:
    """A group of checks of one kind. `run` gets the plan and the shared means of asking about guards.

    edits: whether its findings may say by which edits they would be settled.
    """

    name: str
    run: Callable[[Plan, Askers], list[Finding]]
    edits: bool = False


FAMILIES: tuple[Family, ...] = (
    Family("graph", check_graph, edits=True),
    Family("satisfiable", check_satisfiable),
    Family("order", check_order),
    Family("names", check_names),
    Family("stop", check_stop),
    Family("holds", check_holds, edits=True),
    Family("waits", check_waits, edits=True),
    Family("noise", check_noise, edits=True),
    Family("leftovers", check_leftovers),
    Family("safety", check_safety),
    Family("drives", check_drives),
    Family("weight", check_weight),
    Family("rules", check_rules),
    Family("symmetry", check_symmetry),
    Family("reach", check_reach),
    Family("wiring", check_wiring),
)


def check(plan: Plan, exploring: Exploring | None = None) -> list[Finding]:
    """Check a plan with every family, then explore it; return the findings that its files do not accept.

    Worst first. exploring: how far to explore; it also takes the counterexamples; None: the default bounds.
    What is written once but stands for several phases (a mirror image, one sequence per leg) is told once;
    the other phases are in the notes.
    """
    return judge(plan, exploring).findings


def judge(plan: Plan, exploring: Exploring | None = None) -> Judged:
    """Do the same, and return the accepted findings, too."""
    askers = Askers(plan)
    findings = [finding for family in FAMILIES for finding in family.run(plan, askers)]
    exploring = exploring or Exploring()
    findings += check_explored(plan, exploring)
    not_sought = frozenset[str]() if exploring.finished else EXPLORED
    judged = settle(plan, worst_first(_told_once(findings)), not_sought)
    return Judged(worst_first(judged.findings), judged.accepted)


def mechanical_findings(plan: Plan) -> list[Finding]:
    """Return the open findings that can be settled by edits."""
    askers = Askers(plan)
    findings = [finding for family in FAMILIES if family.edits for finding in family.run(plan, askers)]
    return [finding for finding in settle(plan, findings).findings if finding.edits]


def _told_once(findings: list[Finding]) -> list[Finding]:
    groups: dict[tuple[str, Severity, Place], list[Finding]] = {}
    for finding in findings:
        groups.setdefault((finding.code, finding.severity, finding.place), []).append(finding)
    return [_joined(group) for group in groups.values()]


def _joined(group: list[Finding]) -> Finding:
    """Make one finding of several in one place: the first, with the other messages as notes.

    Where they would be settled by different edits, the longest is told, which settles all of them.
    """
    first = group[0]
    longest = max((f for f in group if f.edits), key=lambda f: f.edits[0].length, default=first)
    first = replace(first, fix=longest.fix, edits=longest.edits)
    others = list(dict.fromkeys(f.message for f in group if f.message != first.message))
    notes = [(first.place, message) for message in others[:MOST_NOTES]]
    if len(others) > MOST_NOTES:
        notes.append((first.place, f"and {len(others) - MOST_NOTES} more"))
    return replace(first, notes=(*first.notes, *notes)) if notes else first
