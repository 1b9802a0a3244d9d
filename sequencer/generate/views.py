"""What a template prints: plain records of spelled names, literals and comment lines.

Everything is decided here and in `layout`; a template only prints. Names are C++ names, numbers are
literals, `words` and `place` are ready for a comment.
"""

from dataclasses import dataclass, field
from typing import Literal

from sequencer.generate.drive_views import DrivesView, LoopView, OutputView
from sequencer.generate.guard_views import FunctionView, GuardView, LevelView


@dataclass(frozen=True, slots=True)
class NumberView:
    """What the sequencer counts in: `type` is kept, `fast` handed on, `wide` holds sums of several.

    whole: whole steps in int16, else binary32.
    """

    whole: bool
    type: str
    fast: str
    wide: str
    zero: str
    one: str


@dataclass(frozen=True, slots=True)
class ResolutionView:
    """Signals with steps of the same size, a binary32 literal."""

    signals: tuple[str, ...]
    size: str


@dataclass(frozen=True, slots=True)
class ExitView:
    """A way out of a phase. `asked`: only an event opens it, so it waits for no step."""

    call: str
    to: str
    index: int
    asked: bool
    words: str
    place: str


@dataclass(frozen=True, slots=True)
class CommandView:
    """A target on entry: a literal that is clamped already, or the number of a level that is worked out."""

    setpoint: str
    literal: str | None
    aim: int | None  # slot of the setpoint's level number, if any of its levels names a parameter
    level: int  # number of the level; 0 is a literal


@dataclass(frozen=True, slots=True)
class ArrivalView:
    """What entering does, and the phases for which it is the same, as (name, place)."""

    phases: tuple[tuple[str, str], ...]
    commands: tuple[CommandView, ...]
    count: tuple[str, ...]
    reset: tuple[str, ...]
    pulses: str


@dataclass(frozen=True, slots=True)
class PhaseView:
    """A phase of a sequence."""

    name: str
    text: str
    about: str
    place: str
    stop: int | None
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
    arrivals: tuple[ArrivalView, ...]
    limit_type: str  # holds the longest timeout in milliseconds; empty if there is none
    fault: str  # where every timeout leads, empty if not all lead to the same phase
    latches: tuple[int, int]
    timers: tuple[int, int]
    counts: tuple[int, int]
    gathered: tuple[int, int]
    entries: tuple[tuple[str, int], ...]
    unused_decide: tuple[str, ...]
    retargets: bool  # whether a phase sets a target from a parameter
    clears: bool  # whether its phases have latches or holds
    decides: bool  # whether any phase has a way out of its own
    steps: Literal["none", "some", "all"]  # which of the ways out wait for a step
    stops: bool  # whether any phase is a stop phase


@dataclass(frozen=True, slots=True)
class SignalView:
    """A signal; `unit` says in what it is counted, `resolution` is the size of a step, if it is in steps."""

    name: str
    text: str
    unit: str
    resolution: str = ""


@dataclass(frozen=True, slots=True)
class ScaleView:
    """Signals that share gain, bias and zero; `gain` is empty if it is one.

    `zero` is the parameter that is subtracted, empty if none is. In whole steps it is
    (gain * raw + bias) >> shift; `shift` is empty if it is nothing.
    """

    signals: tuple[str, ...]
    gain: str
    bias: str
    zero: str
    shift: str = ""


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
class LastView:
    """Where the time of the last fresh sample of signal `i` is kept: for the first to the last that needs it.

    `needed` is the condition on `i`, empty if all need it; `index` the place in the array of `size`.
    """

    size: int
    needed: str
    index: str
    alone: str  # the one silence after which all of them are lost; empty if some of them differ


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
    entry: int | None
    aim: int | None
    clamped: bool  # whether a level can be outside the span
    levels: tuple[LevelView, ...]
    resolution: str = ""


@dataclass(frozen=True, slots=True)
class RateView:
    """Setpoints with the same largest step in a tick; `step` is empty for those that jump."""

    setpoints: tuple[str, ...]
    step: str
    parameter: str


@dataclass(frozen=True, slots=True)
class FollowView:
    """A comparison of a setpoint's target with its followers (signal, offset)."""

    op: Literal["reached", "at_target"]
    function: str
    margin: str
    name: str
    setpoint: str
    entry: int | None
    shared: bool  # whether the setpoint is compared in both ways, which then share a function
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
    resolution: str = ""


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
    """A guard that is looked at in every tick; `to` are (sequence's member, its target, its phase).

    first_held: it is the first of those that have a hold.
    """

    guard: GuardView
    first_held: bool
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
    hold_type: str


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
    number: NumberView
    signals: tuple[SignalView, ...]
    scales: tuple[ScaleView, ...]
    believes: tuple[BelieveView, ...]
    losses: tuple[LossView, ...]
    last: LastView | None
    spans: tuple[SpanView, ...]
    resolutions: tuple[ResolutionView, ...]
    events: tuple[BitView, ...]
    switches: tuple[BitView, ...]
    pulses: tuple[BitView, ...]
    remote: RemoteView | None
    helping: bool  # whether the machine can be helped by hand and walk in single steps
    setpoints: tuple[SetpointView, ...]
    rates: tuple[RateView, ...]
    parameters: tuple[ParameterView, ...]
    counters: tuple[NameView, ...]
    guards: tuple[FunctionView, ...]
    sequences: tuple[SequenceView, ...]
    follows: tuple[FollowView, ...]
    anywhere: tuple[AnywhereView, ...]
    rules: tuple[RuleView, ...]
    loops: tuple[LoopView, ...]
    outputs: tuple[OutputView, ...]
    drives: DrivesView | None
    sizes: SizesView
    uses: dict[str, bool] = field(default_factory=dict)
