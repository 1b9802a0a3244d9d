"""The tables of a plan.

Every number that takes part in a tick is already binary32 (a Python float that is exactly representable
there) and in the unit its signal or setpoint declares; every duration is whole milliseconds; every name
has become an index into one of the tables. Names stay for people. `for_each`, `parts`, `defaults` and
`mirror` are gone: what they stood for is written out.
"""

from dataclasses import dataclass
from typing import Literal

from sequencer.base.acceptance import Acceptance
from sequencer.base.places import Place
from sequencer.plan.budget_tables import Budget
from sequencer.plan.drive_tables import ActsIn, Adds, Loop, Output, Stall, Supply, Term
from sequencer.plan.fixed_tables import FixedPoint
from sequencer.plan.wiring_tables import Wiring

__all__ = ["ActsIn", "Adds", "Loop", "Output", "Stall", "Supply", "Term"]  # handed on from there

CompareOp = Literal["at_least", "at_most", "above", "below", "within", "outside"]
FollowOp = Literal["reached", "at_target"]


@dataclass(frozen=True, slots=True)
class Level:
    """A threshold or target: a number, a parameter (perhaps negated), or the sum of both.

    Its value at run time is ``plus`` if there is no parameter, else ``p`` or ``-p``, and with both,
    ``(+-p) + plus`` in binary32.
    """

    plus: float | None
    parameter: int | None = None
    negated: bool = False


@dataclass(frozen=True, slots=True)
class Believe:
    """The range outside which a sample is not believed (a broken wire): of raw `counts` or of values."""

    kind: Literal["counts", "reads"]
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Signal:
    """A measured number: value = raw * gain + bias, rounded to binary32 after each operation.

    Where `zero_from` names a parameter, bias is without the zero, and that parameter is subtracted last.
    """

    name: str
    unit: str
    gain: float
    bias: float
    low: float
    high: float
    every_us: int | None
    noise: float
    lost_after_ms: int | None
    believe: Believe | None
    scaled: bool  # raw is counts, not the unit
    place: Place
    zero_from: int | None = None


@dataclass(frozen=True, slots=True)
class Remote:
    """The remote control: which events and switches it carries and when its silence means lost."""

    events: tuple[int, ...]
    switches: tuple[int, ...]
    every_us: int | None
    lost_after_ms: int | None
    place: Place


@dataclass(frozen=True, slots=True)
class Name:
    """A bare name with its place: an event, a switch, a counter, a pulse."""

    name: str
    place: Place


@dataclass(frozen=True, slots=True)
class Counter:
    """A counter, 0 to 65535; `owner` is the sequence that counts it, None if none does."""

    name: str
    owner: int | None
    place: Place


@dataclass(frozen=True, slots=True)
class Follower:
    """A signal that follows a setpoint, standing `offset` away from it."""

    signal: int
    offset: float


@dataclass(frozen=True, slots=True)
class Rate:
    """The largest change in one tick: `step`, or the binary32 product of `step` and a parameter."""

    step: float
    parameter: int | None
    per_second: float  # for reports, before the parameter


@dataclass(frozen=True, slots=True)
class Setpoint:
    """A commanded number; `owner` is the one sequence that sets it, None if none does."""

    name: str
    unit: str
    low: float
    high: float
    start: float
    rate: Rate | None
    followers: tuple[Follower, ...]
    owner: int | None
    place: Place


@dataclass(frozen=True, slots=True)
class Parameter:
    """A number that may be trimmed within its span."""

    name: str
    unit: str
    value: float
    low: float
    high: float
    place: Place


@dataclass(frozen=True, slots=True)
class Compare:
    """A comparison of a signal or a counter.

    at_least, above use `low`; at_most, below use `high`; within, outside use both. `latch` is the slot of
    its latch if it has a release.
    """

    op: CompareOp
    source: Literal["signal", "counter"]
    index: int
    low: Level | None
    high: Level | None
    release_low: Level | None
    release_high: Level | None
    latch: int | None
    unit: str
    place: Place


@dataclass(frozen=True, slots=True)
class Follow:
    """A comparison of a setpoint's target with the signals that follow it.

    `tolerance` is `short_by` for reached and the tolerance for at_target; `release` is the wider one.
    """

    op: FollowOp
    setpoint: int
    tolerance: Level
    release: Level | None
    latch: int | None
    unit: str
    place: Place


@dataclass(frozen=True, slots=True)
class OnEvent:
    """True in the tick in which the event arrives."""

    event: int
    place: Place


@dataclass(frozen=True, slots=True)
class OnSwitch:
    """True while the switch is on; unknown while the remote that carries it is lost or was never heard."""

    switch: int
    remote: bool
    place: Place


@dataclass(frozen=True, slots=True)
class Lost:
    """True while the signal, or the remote (`signal` is None), is lost."""

    signal: int | None
    place: Place


@dataclass(frozen=True, slots=True)
class InPhase:
    """True if the sequence stood in one of the phases when the tick began."""

    sequence: int
    phases: tuple[int, ...]
    place: Place


Leaf = Compare | Follow | OnEvent | OnSwitch | Lost | InPhase


@dataclass(frozen=True, slots=True)
class Node:
    """One step of a guard in postfix order: push a leaf's truth, or combine the last `arg` truths."""

    kind: Literal["leaf", "all", "any", "not"]
    arg: int  # leaf: index into Plan.leaves; all, any: how many operands; not: 1


@dataclass(frozen=True, slots=True)
class Hold:
    """How long a guard must stay true: whole milliseconds, or fresh samples of `signals`."""

    slot: int
    ms: int | None
    samples: int | None
    signals: tuple[int, ...]  # those that the guard compares; only for samples


@dataclass(frozen=True, slots=True)
class Guard:
    """A condition. `leaves` are indices into Plan.leaves in the order in which they are evaluated."""

    index: int
    nodes: tuple[Node, ...]
    leaves: tuple[int, ...]
    hold: Hold | None
    place: Place


@dataclass(frozen=True, slots=True)
class Exit:
    """A way out of a phase: when the guard (an index into Plan.guards) fires, go to phase `to`."""

    guard: int
    to: int
    place: Place


@dataclass(frozen=True, slots=True)
class Timeout:
    """After so long in the phase, go to phase `to`: a fault, never the way a walk goes on."""

    after_ms: int
    to: int
    place: Place


@dataclass(frozen=True, slots=True)
class Command:
    """On entry, setpoint gets target `level`, clamped to its span."""

    setpoint: int
    level: Level
    place: Place


@dataclass(frozen=True, slots=True)
class Phase:
    """One named step of a sequence. `stop` is the IEC 60204-1 stop category or None."""

    name: str
    about: str
    rest: bool
    stop: Literal[0, 1, 2] | None
    commands: tuple[Command, ...]
    keep: tuple[int, ...]  # setpoints whose leftover target is meant
    count: tuple[int, ...]
    reset: tuple[int, ...]
    pulse: tuple[int, ...]
    exits: tuple[Exit, ...]
    timeout: Timeout | None
    never_because: str  # why there is no timeout, if the file says so
    mirrored_from: str  # the phase this one is the mirror image of, or empty
    place: Place


@dataclass(frozen=True, slots=True)
class Sequence:
    """A chain of phases; the first is where it starts.

    The latches and holds of its phases share the slots from `first_latch` and `first_hold` on: only one
    phase is active and entering one clears them all.
    """

    name: str
    phases: tuple[Phase, ...]
    first_latch: int
    latches: int
    first_hold: int
    holds: int
    place: Place


@dataclass(frozen=True, slots=True)
class Anywhere:
    """A guard that is looked at in every tick and sends sequence i to its phase to[i]."""

    guard: int
    to: tuple[int, ...]
    place: Place


@dataclass(frozen=True, slots=True)
class Rule:
    """What must hold at every tick. Its guard is the broken condition: ``while`` and not ``must``.

    In the guard's postfix nodes, ``must`` stands at nodes[must_from:must_to]; what is before is ``while``
    (perhaps nothing). `to` is the phase for each sequence, or None.
    """

    name: str
    guard: int
    must_from: int
    must_to: int
    to: tuple[int, ...] | None
    mirrored: bool
    place: Place


@dataclass(frozen=True, slots=True)
class Plan:
    """Everything that a tick needs. `sha` hashes the meaning: names and numbers, not places or texts.

    `wiring` and `budget` are for the programs of boards; no tick looks at them and `sha` leaves them out.
    So it does with `acceptances`, which are for the check.
    `helping`: the machine may be helped by hand and walk in single steps (DEVELOPERS.md, "Helping by hand").
    `fixed` is there if the sequencer counts in whole steps (`arithmetic: int16`); the numbers are then those
    nearest to them.
    """

    name: str
    about: str
    machine: str
    tick_ms: int
    signals: tuple[Signal, ...]
    events: tuple[Name, ...]
    switches: tuple[Name, ...]
    remote: Remote | None
    setpoints: tuple[Setpoint, ...]
    parameters: tuple[Parameter, ...]
    counters: tuple[Counter, ...]
    pulses: tuple[Name, ...]
    leaves: tuple[Leaf, ...]
    guards: tuple[Guard, ...]
    sequences: tuple[Sequence, ...]
    anywhere: tuple[Anywhere, ...]
    rules: tuple[Rule, ...]
    loops: tuple[Loop, ...]  # outer before inner
    outputs: tuple[Output, ...]
    latches: int
    holds: int
    sources: tuple[str, ...]  # the files it was made from, gait first
    sha: str = ""
    wiring: Wiring | None = None
    budget: Budget | None = None
    helping: bool = False
    acceptances: tuple[Acceptance, ...] = ()
    fixed: FixedPoint | None = None


# Bounds that keep indices in a byte and bit sets in 32 bits; a larger file is refused at load.
MOST_PHASES = 250  # of one sequence
MOST_SEQUENCES = 64
MOST_SIGNALS = 250
MOST_GUARDS_OF_A_PHASE = 250
MOST_BITS = 32  # events, switches, pulses
