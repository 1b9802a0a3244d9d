"""What stands in a report's file; the same records as templates/report/scripts/types.d.ts, field by field.

There the fields are explained. A field that would be a word of Python's ends in an underscore here. Indices
of columns, guards and files are into the lists that hold them. Times are ms on the run's own clock.
"""

from dataclasses import dataclass, fields, is_dataclass
from typing import Any

from sequencer.show.report.pack import Packed

NO_PHASE = 255  # in Moves.left
NO_GUARD = 65535  # in Moves.guard


@dataclass(frozen=True, slots=True)
class Coarse:
    """Least and greatest of each bucket."""

    least: Packed
    most: Packed


@dataclass(frozen=True, slots=True)
class Column:
    """One number for each tick that is kept."""

    name: str
    unit: str
    role: str
    pieces: list[Packed]
    coarse: Coarse | None


@dataclass(frozen=True, slots=True)
class Kept:
    """Which ticks are in the file one by one, and how many make a bucket of the coarse columns."""

    windows: list[tuple[int, int]]
    bucket: int


@dataclass(frozen=True, slots=True)
class Clock:
    """When ticks were."""

    start: float
    step: float
    pieces: list[Packed] | None
    buckets: Packed | None


@dataclass(frozen=True, slots=True)
class FilePlace:
    """Lines of one of the gait's files."""

    file: int
    line: int
    last: int


@dataclass(frozen=True, slots=True)
class Leaf:
    """One comparison or question of a guard."""

    words: str
    opposite: str
    kind: str
    unit: str
    span: float
    signals: list[str]
    truth: int
    margin: int | None


@dataclass(frozen=True, slots=True)
class Node:
    """One step of a guard in postfix order."""

    kind: str
    arg: int


@dataclass(frozen=True, slots=True)
class Hold:
    """How long a guard must stay true."""

    words: str
    unit: str
    need: int


@dataclass(frozen=True, slots=True)
class GuardShown:
    """A guard of a phase, or an entry of `anywhere`."""

    name: str
    words: str
    to: str
    kind: str
    sequence: int | None
    phase: int | None
    hold: Hold | None
    truth: int
    hold_left: int | None
    leaves: list[Leaf]
    nodes: list[Node]
    place: FilePlace


@dataclass(frozen=True, slots=True)
class PhaseShown:
    """One phase."""

    name: str
    about: str
    kind: str
    timeout: int | None
    timeout_to: str
    mirror: int | None
    place: FilePlace | None


@dataclass(frozen=True, slots=True)
class SequenceShown:
    """One sequence."""

    name: str
    phases: list[PhaseShown]


@dataclass(frozen=True, slots=True)
class RuleShown:
    """One rule."""

    name: str
    words: str
    place: FilePlace


@dataclass(frozen=True, slots=True)
class FindingShown:
    """What `check` says."""

    code: str
    severity: str
    message: str
    fix: str
    why: str
    place: FilePlace | None


@dataclass(frozen=True, slots=True)
class ParameterShown:
    """One parameter."""

    name: str
    unit: str
    value: float
    low: float
    high: float
    place: FilePlace


@dataclass(frozen=True, slots=True)
class SourceFile:
    """A file that the walk was read from."""

    name: str
    lines: list[str]


@dataclass(frozen=True, slots=True)
class GaitShown:
    """What is known of a walk from its gait file."""

    about: str
    machine: str
    files: list[SourceFile]
    guards: list[GuardShown]
    rules: list[RuleShown]
    findings: list[FindingShown]
    parameters: list[ParameterShown]


@dataclass(frozen=True, slots=True)
class Walk:
    """The walk that ran; `gait` is None for a log without a gait file."""

    name: str
    sequences: list[SequenceShown]
    gait: GaitShown | None


@dataclass(frozen=True, slots=True)
class Stays:
    """The phases of one sequence over time."""

    from_: Packed
    to: Packed
    phase: Packed


@dataclass(frozen=True, slots=True)
class Moves:
    """The transitions."""

    at: Packed
    tick: Packed
    sequence: Packed
    left: Packed
    entered: Packed
    stayed: Packed
    cause: Packed
    causes: list[str]
    guard: Packed
    spare: Packed
    spare_units: list[str]
    settled: Packed


@dataclass(frozen=True, slots=True)
class Marks:
    """Thresholds while they counted."""

    from_: Packed
    to: Packed
    column: Packed
    guard: Packed
    low: Packed
    high: Packed


@dataclass(frozen=True, slots=True)
class RuleSpans:
    """When rules were broken or unjudged."""

    from_: Packed
    to: Packed
    rule: Packed
    state: Packed


@dataclass(frozen=True, slots=True)
class Contact:
    """When a foot was on the ground."""

    name: str
    side: str
    row: int
    source: str
    from_: Packed
    to: Packed


@dataclass(frozen=True, slots=True)
class Trouble:
    """Something that should not happen in a walk."""

    kind: str
    at: float
    words: str
    place: FilePlace | None


@dataclass(frozen=True, slots=True)
class SideFigures:
    """One side's half of a comparison."""

    name: str
    count: int
    median: float | None
    least: float | None
    most: float | None


@dataclass(frozen=True, slots=True)
class SymmetryShown:
    """Left beside right."""

    what: str
    unit: str
    left: SideFigures
    right: SideFigures


@dataclass(frozen=True, slots=True)
class Battery:
    """The supply of the outputs over the run."""

    column: int
    name: str
    unit: str
    first: float
    last: float
    least: float
    least_at: float
    full: float | None
    low: float | None


@dataclass(frozen=True, slots=True)
class Drawn:
    """A segment of the small animation."""

    name: str
    y1: int
    z1: int
    y2: int
    z2: int


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure of the run."""

    name: str
    value: str


@dataclass(frozen=True, slots=True)
class PlotShown:
    """Columns that are drawn together."""

    title: str
    unit: str
    columns: list[int]


@dataclass(frozen=True, slots=True)
class WriteShown:
    """A parameter that was written."""

    at: float
    parameter: str
    value: float
    accepted: bool


@dataclass(frozen=True, slots=True)
class Recorded:
    """One run."""

    name: str
    summary: str
    failed: bool
    ticks: int
    start: float
    end: float
    kept: Kept
    clock: Clock
    columns: list[Column]
    plots: list[PlotShown]
    stays: list[Stays]
    moves: Moves
    marks: Marks | None
    rules: RuleSpans | None
    contacts: list[Contact]
    troubles: list[Trouble]
    symmetry: list[SymmetryShown]
    battery: Battery | None
    drawn: list[Drawn]
    writes: list[WriteShown]
    figures: list[Figure]


@dataclass(frozen=True, slots=True)
class ReportDocument:
    """All of a report's file."""

    title: str
    notes: list[str]
    walk: Walk
    runs: list[Recorded]
    format: int = 1


def as_data(value: Any) -> Any:
    """Turn a document into what JSON knows: a record becomes an object, `from_` becomes `from`."""
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name.rstrip("_"): as_data(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, list | tuple):
        return [as_data(item) for item in value]
    return value
