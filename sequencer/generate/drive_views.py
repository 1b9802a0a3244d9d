"""What the templates are given of loops and outputs: plain data, all decisions made."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class AddsView:
    """An outer loop that adds to a loop's reference; `gain` is empty if it is one."""

    loop: str
    gain: str


@dataclass(frozen=True, slots=True)
class ActsView:
    """A phase in which a loop acts, and the member that says which phase is active."""

    member: str
    phase: str


@dataclass(frozen=True, slots=True)
class LoopView:
    """A loop. `u` is the expression in which its value before the fade is kept.

    `terms` are expressions. `integral`, `slope`, `turn` and `fade` are slots, None where there is no such
    part; `bleed_step` is empty for a loop that drives an output. kp, bi, bd, low and high are expressions;
    `trimmed_bi` says what bi is where a parameter gives it; it may be 0 for a while. Else it is empty.
    """

    name: str
    text: str
    unit: str
    words: str
    place: str
    function: str
    index: int
    u: str
    signal: str
    terms: tuple[str, ...]
    inputs: tuple[AddsView, ...]
    kp: str
    bi: str
    br: str
    ad: str
    bd: str
    low: str
    high: str
    integral_limit: str
    dead_band: str
    bumpless: bool
    trimmed_bi: str
    integral: int | None
    slope: int | None
    turn: int | None
    fade: int | None
    fade_step: str
    bleed_step: str
    always: bool
    acts_in: tuple[ActsView, ...]


@dataclass(frozen=True, slots=True)
class SupplyView:
    """The supply of an output; without `least` it is only compensated for."""

    slot: int
    signal: str
    unit: str
    full_scale_at: str
    smooth: str
    least: str | None
    least_slot: int
    under_for_ms: str


@dataclass(frozen=True, slots=True)
class StallView:
    """When an output counts as stalled."""

    slot: int
    above: str
    signal: str
    moves: str
    for_ms: str


@dataclass(frozen=True, slots=True)
class OutputView:
    """An output; `slew_step` is empty if it may jump, `cap` (an expression) if only the span limits it."""

    name: str
    text: str
    place: str
    function: str
    loops: tuple[str, ...]
    low: str
    high: str
    cap: str
    slew_step: str
    supply: SupplyView | None
    stall: StallView | None


@dataclass(frozen=True, slots=True)
class DrivesView:
    """The files of loops and outputs, how much they remember, and which helper functions they need.

    `turns` are the periods, in ticks, of loops that do not run in every tick. `stops` say of each stop phase
    that cuts the outputs what may sink.
    """

    header: str
    source: str
    loops: int
    outputs: int
    integrals: int
    slopes: int
    fades: int
    turns: tuple[str, ...]
    turn_type: str
    supplies: int
    leasts: int
    stalls: int
    products: bool
    dead_bands: bool
    ramps: bool
    stops: tuple[str, ...]
