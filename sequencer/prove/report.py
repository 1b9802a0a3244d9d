"""What a proof comes to: a row for each controller."""

from dataclasses import dataclass
from typing import Literal

from sequencer.history.compare import Difference

# equal: every tick agreed. differs: at least one did not. failed: the program could not be built or did not
# come to its end. not run: tools are missing. too large: the controller has not enough memory.
Outcome = Literal["equal", "differs", "failed", "not run", "too large"]


@dataclass(frozen=True, slots=True)
class Footprint:
    """What the sequencer takes on a controller, in bytes.

    flash: code and constants with the arithmetic that it pulls in, loops and outputs included. ram: State (or
    the Machine that loops and outputs make of it), Inputs and what else lies there all the time. state: the
    State or Machine alone. stack: the most that any tick took, its call included.
    """

    flash: int
    ram: int
    state: int
    stack: int


@dataclass(frozen=True, slots=True)
class Cost:
    """What a tick takes, in `unit`, as the code is flashed (nothing watched): the most and the median.

    share: of the tick's time, 0 to 1, for the worst tick at `clock_hz`; an instruction is taken for a cycle.
    """

    unit: str
    worst: int
    median: float
    clock_hz: int
    share: float


@dataclass(frozen=True, slots=True)
class FirstDifference:
    """Where a controller first left the reference: in which trace, in which of the two builds."""

    trace: str
    watched: bool
    difference: Difference


@dataclass(frozen=True, slots=True)
class Row:
    """One controller's result. ticks: how many were compared. differing: how many of them differed.

    reason: what went wrong or did not fit; of an equal one, what was left out. package: what to install if it
    was not run.
    """

    controller: str
    title: str
    outcome: Outcome
    ticks: int = 0
    differing: int = 0
    first: FirstDifference | None = None
    footprint: Footprint | None = None
    cost: Cost | None = None
    reason: str = ""
    output: str = ""
    package: str = ""


@dataclass(frozen=True, slots=True)
class Proof:
    """All rows, and what was run: (name, ticks) of each trace."""

    gait: str
    sha: str
    tick_ms: int
    traces: tuple[tuple[str, int], ...]
    rows: tuple[Row, ...]

    @property
    def found(self) -> bool:
        """Whether any controller did something else than the reference, or failed."""
        return any(row.outcome in {"differs", "failed"} for row in self.rows)

    @property
    def complete(self) -> bool:
        """Whether every controller was run."""
        return all(row.outcome not in {"not run", "too large"} for row in self.rows)

    @property
    def empty(self) -> bool:
        """Whether no controller at all could be run."""
        return all(row.outcome in {"not run", "too large"} for row in self.rows)
