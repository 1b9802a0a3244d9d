"""All checks, one after another."""

from collections.abc import Callable
from dataclasses import dataclass, replace

from sequencer.base.findings import Finding, worst_first
from sequencer.check.graph import check_graph
from sequencer.check.names import check_names
from sequencer.check.order import check_order
from sequencer.check.questions import Askers
from sequencer.check.satisfiable import check_satisfiable
from sequencer.check.stop import check_stop
from sequencer.plan.tables import Plan


@dataclass(frozen=True, slots=True)
class Family:
    """A group of checks of one kind. `run` gets the plan and the shared means of asking about guards."""

    name: str
    run: Callable[[Plan, Askers], list[Finding]]


FAMILIES: tuple[Family, ...] = (
    Family("graph", check_graph),
    Family("satisfiable", check_satisfiable),
    Family("order", check_order),
    Family("names", check_names),
    Family("stop", check_stop),
)


def check(plan: Plan) -> list[Finding]:
    """Check a plan with every family; return the findings, worst first.

    What is written once but stands for several phases (a mirror image, one sequence per leg) is told once;
    the other phases are in the notes.
    """
    askers = Askers(plan)
    findings = [finding for family in FAMILIES for finding in family.run(plan, askers)]
    return worst_first(_told_once(findings))


def _told_once(findings: list[Finding]) -> list[Finding]:
    first: dict[object, Finding] = {}
    for finding in findings:
        key = (finding.code, finding.severity, finding.place)
        told = first.setdefault(key, finding)
        if told is not finding and all(text != finding.message for _, text in told.notes):
            first[key] = replace(told, notes=(*told.notes, (finding.place, finding.message)))
    return list(first.values())
