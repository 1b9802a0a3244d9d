"""How much of the generated code the traces of a proof reach: the branches that they take, by gcov.

A branch that is not taken may be one that no input can take. What is known to be so for every gait is told
apart, with its reason; the rest is either out of the traces' reach or ruled out by the gait itself (a guard
that `anywhere` goes before, say).
"""

import re
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from sequencer.base.errors import ToolError
from sequencer.build.coverage import Branch, Counts, build_counting, counts_of, missing_for_coverage
from sequencer.build.sizes import Sizes
from sequencer.generate.render import view_of
from sequencer.plan.tables import Plan
from sequencer.prove.controllers import controller
from sequencer.prove.images import Image, replay
from sequencer.prove.inputs import Trace
from sequencer.prove.program import program_files, write_files
from sequencer.prove.wire import Form

_LARGEST = 3.4028235e38


@dataclass(frozen=True, slots=True)
class Missed:
    """A branch that was not taken: its line, the line's text, and why it cannot be, or nothing if it may."""

    line: int
    number: int
    text: str
    reason: str


@dataclass(frozen=True, slots=True)
class Covered:
    """A generated file: how many branches it has, and which were not taken."""

    file: str
    branches: int
    missed: tuple[Missed, ...]

    @property
    def taken(self) -> int:
        """How many were taken."""
        return self.branches - len(self.missed)

    @property
    def open(self) -> tuple[Missed, ...]:
        """Those that were not taken although nothing says that they cannot be."""
        return tuple(missed for missed in self.missed if not missed.reason)

    @property
    def share(self) -> float:
        """The share of those that can be taken, 0 to 1."""
        possible = self.taken + len(self.open)
        return self.taken / possible if possible else 1.0


def cover(plan: Plan, traces: Sequence[Trace]) -> tuple[Covered, ...]:
    """Run traces on the files as they are generated, on this machine, and count branches.

    Raises ToolError if g++ or gcov is missing or fails.
    """
    package = missing_for_coverage()
    if package:
        raise ToolError(
            "counting branches needs g++ and gcov", hint=f"install {package} (Debian: apt install {package})"
        )
    form, host = Form(plan, watched=False, leaves=range(0)), controller("host")
    files, sources = program_files([form], host.port)
    with tempfile.TemporaryDirectory(prefix="gait-sequencer-") as name:
        folder = Path(name)
        write_files(files, folder)
        image = Image(host, (form,), build_counting(folder, sources), Sizes(0, 0))
        replay(image, [(0, [trace.block]) for trace in traces])
        view = view_of(plan)
        generated = [part["source"] for part in (view, view["drives"]) if part]
        return tuple(_covered(plan, files[n], n, counts_of(folder, n)) for n in generated)


def _covered(plan: Plan, text: str, name: str, counts: Counts) -> Covered:
    lines = text.splitlines()
    missed = [
        Missed(b.line, b.number, lines[b.line - 1].strip(), _reason(plan, lines, counts, b))
        for b in counts.branches
        if not b.taken
    ]
    return Covered(name, len(counts.branches), tuple(missed))


def _reason(plan: Plan, lines: Sequence[str], counts: Counts, branch: Branch) -> str:
    for reason, applies in _REASONS:
        if applies(_Missing(plan, lines, counts, branch, lines[branch.line - 1].strip())):
            return reason
    return ""


@dataclass(frozen=True, slots=True)
class _Missing:
    """All that may tell why a branch was not taken."""

    plan: Plan
    lines: Sequence[str]
    counts: Counts
    branch: Branch
    text: str


def _is_bare_default(of: _Missing) -> bool:
    """Whether it is the way into a `default:` that does nothing, of a switch that lists all there is."""
    if not of.text.startswith("switch ("):
        return False
    last = max(b.number for b in of.counts.branches if b.line == of.branch.line)
    indent = of.lines[of.branch.line - 1].index("switch") + 2
    for number in range(of.branch.line, len(of.lines)):
        if of.lines[number] == " " * indent + "default:":
            bare = of.lines[number + 1].strip() == "break;" and of.counts.lines.get(number + 2, 0) == 0
            return bare and of.branch.number == last
    return False


def _never_minus_nothing(of: _Missing) -> bool:
    """Whether no target can be -0, which only a parameter of 0 makes that is negated or 0 itself."""
    levels = [c.level for s in of.plan.sequences for p in s.phases for c in p.commands]
    trimmed = [of.plan.parameters[level.parameter] for level in levels if level.parameter is not None]
    return "<< 1U) == 0U" in of.text and not any(p.low <= 0.0 <= p.high for p in trimmed)


def _leaves_with_its_last_sample(of: _Missing) -> bool:
    indices = [entry.guard for entry in of.plan.anywhere] + [rule.guard for rule in of.plan.rules]
    watched = [of.plan.guards[index] for index in indices]
    by_samples = any(g.hold is not None and g.hold.samples is not None for g in watched)
    return "(s.count[slot] < samples)" in of.text and of.branch.number == 3 and not by_samples


def _its_opposite_was_not_true(of: _Missing) -> bool:
    """Whether a comparison is asked only where its opposite came out not true, so it is true if known."""
    match = re.match(r"static bool (\w+)\(const State& s, uint8_t signal, float t\)", of.text)
    if match is None or of.branch.number != 3:
        return False
    calls = [line.strip() for line in of.lines if re.search(rf"(?<!bool )\b{match[1]}\(s, ", line)]
    asked = re.compile(r"const bool true_(\d+) = \(!false_\1\) && \(([^|]*)\);")
    return bool(calls) and all(asked.fullmatch(line) for line in calls)


def _all_loops_run_each_tick(of: _Missing) -> bool:
    each = all(loop.every_ticks == 1 for loop in of.plan.loops)
    return "(turn && m.news[which])" in of.text and of.branch.number == 1 and each


def _stays_within_numbers(of: _Missing) -> bool:
    """Whether a loop's gains are too small for a number beyond all measure."""
    match = re.match(r"if \(is_settled\(m, loop_\w+, v, u, ", of.text)
    if match is None or of.branch.number != 1:
        return False
    above = " ".join(of.lines[max(0, of.branch.line - 12) : of.branch.line])
    gain = re.findall(r"multiplied\((\S+)F, e\);  // kp", above)
    limit = re.findall(r"limited\(u - p, \S+F, (\S+)F\)", above)
    only_small = bool(gain) and abs(float(gain[-1])) < 0.5 and "float d" not in above.rpartition("kp")[2]
    return only_small and all(float(number) < _LARGEST / 2 for number in limit)


_REASONS: tuple[tuple[str, Callable[[_Missing], bool]], ...] = (
    ("a default for what no phase, signal or parameter has as its number", _is_bare_default),
    ("a counter stands still at 65,535", lambda of: "< 0xFFFFU" in of.text),
    ("only if begin() was forgotten", lambda of: re.match(r"if \(s\.stage [!=]= 0U\)", of.text) is not None),
    ("no target of this gait can be minus nothing", _never_minus_nothing),
    ("a guard of a phase leads out with its last sample", _leaves_with_its_last_sample),
    ("asked only after its opposite was found not true", _its_opposite_was_not_true),
    ("every loop of this machine runs in each tick", _all_loops_run_each_tick),
    ("the loop's gains are too small for it", _stays_within_numbers),
)
