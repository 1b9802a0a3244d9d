"""What a template prints: plain records of spelled names, literals and comment lines.

Everything is decided here and in `layout`; a template only prints. Names are C++ names, numbers are
literals, `words` and `place` are ready for a comment.
"""

from dataclasses import dataclass, field
from typing import Literal

from sequencer.generate.drive_views import DrivesView, LoopView, OutputView


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


@dataclass(frozen=True, slots=True)
class GuardView:
    """A guard; `var` holds its truth, `fires` is the bool that says whether its hold is met too."""

    steps: tuple[StepView, ...]
    var: str
    fires: str
    hold: HoldView | None


@dataclass(frozen=True, slots=True)
class ExitView:
    """A way out of a phase."""

    guard: GuardView
    to: str
    index: int
    words: str
    place: str


@dataclass(frozen=True, slots=True)
class CommandView:
    """A target on entry: a literal that is clamped already, or the number of a level that is worked out."""

    setpoint: str
    literal: str | None
    aim: int | None  # slot of the setpoint's level number, if any of its levels names a parameter
    level: int  # number of the level; 0 is a literal
    retarget: str


@dataclass(frozen=True, slots=True)
class PhaseView:
    """A phase of a sequence."""

    name: str
    text: str
    about: str
    place: str
    stop: int | None
    commands: tuple[CommandView, ...]
    count: tuple[str, ...]
    reset: tuple[str, ...]
    pulses: str
    exits: tuple[ExitView, ...]
    timeout_ms: str
    timeout_to: str
    timeout_place: str


@dataclass(frozen=True, slots=True)
class SequenceView:
    """A sequence. `phase`, `since`, `decide` and so on are names of members and functions."""

    name: str
    text: str
    enum: str
    phase: str
    since: str
    to: str
    cause: str
    stay: str
    decide: str
    enter: str
    afresh: str
    first: str
    index: int
    phases: tuple[PhaseView, ...]
    latches: tuple[int, int]
    timers: tuple[int, int]
    counts: tuple[int, int]
    gathered: tuple[int, int]
    entries: tuple[tuple[str, int], ...]
    unused_decide: tuple[str, ...]
    commands: bool  # whether entering does more than note the phase
    clears: bool  # whether its phases have latches or holds
    decides: bool  # whether any phase has a way out of its own
    stops: bool  # whether any phase is a stop phase


@dataclass(frozen=True, slots=True)
class SignalView:
    """A signal."""

    name: str
    text: str
    unit: str


@dataclass(frozen=True, slots=True)
class ScaleView:
    """Signals that share gain and bias; `gain` is empty if it is one."""

    signals: tuple[str, ...]
    gain: str
    bias: str


@dataclass(frozen=True, slots=True)
class BelieveView:
    """Signals whose raw counts, or values, are believed within the same range."""

    signals: tuple[str, ...]
    kind: Literal["counts", "reads"]
    low: str
    high: str


@dataclass(frozen=True, slots=True)
class LossView:
    """Signals that are lost after the same silence."""

    signals: tuple[str, ...]
    lost_ms: str


@dataclass(frozen=True, slots=True)
class SpanView:
    """Signals with the same span."""

    signals: tuple[str, ...]
    low: str
    high: str


@dataclass(frozen=True, slots=True)
class SetpointView:
    """A setpoint; `levels` are those that name a parameter, in the order of their numbers from 1 on."""

    name: str
    text: str
    unit: str
    low: str
    high: str
    start: str
    step: str
    step_parameter: str
    entry: int | None
    aim: int | None
    retarget: str
    levels: tuple[LevelView, ...]


@dataclass(frozen=True, slots=True)
class FollowView:
    """A comparison of a setpoint's target with its followers (signal, offset)."""

    op: Literal["reached", "at_target"]
    function: str
    margin: str
    setpoint: str
    entry: int | None
    followers: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class ParameterView:
    """A parameter."""

    name: str
    text: str
    unit: str
    value: str
    low: str
    high: str


@dataclass(frozen=True, slots=True)
class BitView:
    """An event, a switch or a pulse: one bit."""

    name: str
    text: str
    mask: str


@dataclass(frozen=True, slots=True)
class NameView:
    """A counter or the like: a name and the text that people read."""

    name: str
    text: str


@dataclass(frozen=True, slots=True)
class AnywhereView:
    """A guard that is looked at in every tick; `to` are (sequence's member, its target, its phase)."""

    guard: GuardView
    index: int
    to: tuple[str, ...]
    words: str
    place: str


@dataclass(frozen=True, slots=True)
class RuleView:
    """A rule: `to` is empty if it only watches."""

    name: str
    text: str
    guard: GuardView
    index: int
    to: tuple[str, ...]
    words: str
    place: str


@dataclass(frozen=True, slots=True)
class SizesView:
    """How many there are of each, and the smallest C++ types that hold them."""

    signals: int
    events: int
    switches: int
    pulses: int
    setpoints: int
    parameters: int
    counters: int
    sequences: int
    rules: int
    leaves: int
    latches: int
    timers: int
    counts: int
    gathered: int
    entries: int
    aims: int
    event_bits: str
    switch_bits: str
    pulse_bits: str
    slot_type: str
    count_type: str


@dataclass(frozen=True, slots=True)
class RemoteView:
    """The remote; `lost_ms` is empty if it is never lost."""

    lost_ms: str


@dataclass(frozen=True, slots=True)
class GaitView:
    """The whole gait, as a template sees it."""

    tool: str
    gait: str
    about: str
    machine: str
    sha: str
    sources: tuple[str, ...]
    tick_ms: int
    namespace: str
    macro: str
    header: str
    source: str
    hooks: str
    signals: tuple[SignalView, ...]
    scales: tuple[ScaleView, ...]
    believes: tuple[BelieveView, ...]
    losses: tuple[LossView, ...]
    spans: tuple[SpanView, ...]
    events: tuple[BitView, ...]
    switches: tuple[BitView, ...]
    pulses: tuple[BitView, ...]
    remote: RemoteView | None
    setpoints: tuple[SetpointView, ...]
    parameters: tuple[ParameterView, ...]
    counters: tuple[NameView, ...]
    sequences: tuple[SequenceView, ...]
    follows: tuple[FollowView, ...]
    anywhere: tuple[AnywhereView, ...]
    rules: tuple[RuleView, ...]
    loops: tuple[LoopView, ...]
    outputs: tuple[OutputView, ...]
    drives: DrivesView | None
    sizes: SizesView
    uses: dict[str, bool] = field(default_factory=dict)
