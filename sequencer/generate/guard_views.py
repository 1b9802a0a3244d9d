"""What a template prints of guards: plain records of spelled names, literals and conditions."""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class LevelView:
    """A threshold: a literal, a parameter (perhaps negated), or parameter plus literal."""

    plus: str | None
    parameter: str | None
    negated: bool


@dataclass(frozen=True, slots=True)
class LeafView:
    """One comparison or question of a guard. `name` and the levels mean what the kind needs."""

    kind: Literal["signal", "counter", "follow", "event", "no_event", "switch", "lost", "lost_remote", "in"]
    op: str
    index: int
    var: str
    name: str
    low: LevelView | None = None
    high: LevelView | None = None
    release_low: LevelView | None = None
    release_high: LevelView | None = None
    latch: int | None = None
    remote: bool = False
    phases: tuple[str, ...] = ()
    known: str = ""  # for one that follows a setpoint: the condition under which it is known


@dataclass(frozen=True, slots=True)
class StepView:
    """One step of a guard: a leaf, or the combination of earlier variables."""

    kind: Literal["leaf", "all", "any", "not"]
    var: str
    leaf: LeafView | None
    operands: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class HoldView:
    """A hold; `gathered` is the first of `octets` bytes that gather freshness, `signals` have (byte, bit)."""

    kind: Literal["ms", "samples"]
    slot: int
    length: str
    gathered: int = 0
    octets: int = 0
    signals: tuple[tuple[str, int, str], ...] = ()
    all_bits: str = ""  # of one byte, if none of the signals can be lost while the guard is true


@dataclass(frozen=True, slots=True)
class LatchView:
    """A latched comparison: the bool that holds its result, and the condition by the threshold in force."""

    var: str
    slot: int
    condition: str


@dataclass(frozen=True, slots=True)
class GuardView:
    """A guard: the conditions under which it is certainly true and certainly false.

    `is_true`, `fires` are bools: the guard's truth, and whether its hold is met too. `certain`: it is never
    unknown. `steps` are its comparisons one by one, for those who watch.
    """

    steps: tuple[StepView, ...]
    number: int
    var: str
    is_true: str
    fires: str
    hold: HoldView | None
    latches: tuple[LatchView, ...]
    true_if: str
    false_if: str
    certain: bool


@dataclass(frozen=True, slots=True)
class FunctionView:
    """A guard as a function, which several phases may share.

    `leaf` says that it is told the number of its first comparison, `inputs` that it reads those of the tick,
    `state` that it looks at the State. `first` is that number in `guard`.
    """

    name: str
    guard: GuardView
    state: bool
    leaf: bool
    inputs: bool
    first: int
    words: str
