"""The tables of loops and outputs; a part of `sequencer.plan.tables`, from where they are imported."""

from dataclasses import dataclass

from sequencer.base.places import Place


@dataclass(frozen=True, slots=True)
class Term:
    """A part of a loop's reference: a setpoint's ramped value, or a constant."""

    setpoint: int | None
    constant: float


@dataclass(frozen=True, slots=True)
class Adds:
    """A loop that adds to another one's reference: `gain` times its correction."""

    loop: int
    gain: float


@dataclass(frozen=True, slots=True)
class ActsIn:
    """Phases of one sequence in which a loop acts."""

    sequence: int
    phases: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Loop:
    """A feedback loop; see "Loops and outputs" in DEVELOPERS.md for what each number does.

    kp, bi, br, ad, bd are binary32, folded at load from kp, ki, kd, the filter and tracking times and the
    loop's period h (`every_ticks` ticks, or the signal's sample period if that is longer). `output` is the
    output that it drives, None for an outer loop, which adds to other loops. `inputs` are the outer loops
    that add to this one, in loop order. `acts_in` is None for a loop that always acts.

    A gain that a parameter gives is worked out at run time: kp, bi or bd is then multiplied by the parameter
    `kp_times`, `bi_times` or `bd_times`. Where `limit_from` names a parameter, that limits either way; low
    and high are then what it comes to by the file.
    """

    name: str
    unit: str  # of its signal and reference
    signal: int
    terms: tuple[Term, ...]
    inputs: tuple[Adds, ...]
    kp: float
    bi: float
    br: float
    ad: float
    bd: float
    low: float
    high: float
    integral_limit: float
    dead_band: float
    bumpless: bool
    every_ticks: int
    fade_step: float | None  # authority gained or lost in a tick; None: at once
    bleed_step: float  # of an outer loop's correction in a tick while its signal is lost
    output: int | None
    acts_in: tuple[ActsIn, ...] | None
    place: Place
    kp_times: int | None = None
    bi_times: int | None = None
    bd_times: int | None = None
    limit_from: int | None = None

    @property
    def integrates(self) -> bool:
        """Whether the loop has an integral; one whose ki a parameter gives has, be it 0 for a while."""
        return self.bi != 0.0 or self.bi_times is not None

    @property
    def differentiates(self) -> bool:
        """Whether the loop has a derivative; one whose kd a parameter gives has, be it 0 for a while."""
        return self.bd != 0.0 or self.bd_times is not None


@dataclass(frozen=True, slots=True)
class Supply:
    """Supply compensation of an output: full scale holds at `full_scale_at` of signal `signal`.

    `smooth` is the weight of a fresh sample in the smoothed supply; under `least` for `under_for_ms` the
    drives are cut (None: never).
    """

    signal: int
    full_scale_at: float
    smooth: float
    least: float | None
    under_for_ms: int


@dataclass(frozen=True, slots=True)
class Stall:
    """An output beyond `above` while its signal moves less than `moves` for `for_ms` is stalled."""

    above: float
    signal: int
    moves: float
    for_ms: int


@dataclass(frozen=True, slots=True)
class Output:
    """What goes to a motor: a bare number in [low, high], 0 while off. `loops` drive it, in loop order.

    `cap` limits it besides, either way (None: nothing does); where `cap_from` names a parameter, that does,
    and `cap` is what it comes to by the file.
    """

    name: str
    low: float
    high: float
    slew_step: float | None
    supply: Supply | None
    stall: Stall | None
    holds_unpowered: bool | None
    loops: tuple[int, ...]
    place: Place
    cap: float | None = None
    cap_from: int | None = None
