"""Loops (L1 to L8 in DEVELOPERS.md): PID on fresh samples, outer loops before inner ones.

The discretisation is that of K. J. Astrom and R. M. Murray, Feedback Systems (2008), section 10.5 (cited from
memory); its coefficients bi, br, ad, bd were folded when the plan was made. Every sum and product is rounded
to binary32 on its own (`f32`), in the order written.
"""

from collections.abc import Sequence

from sequencer.base.binary32 import f32, is_finite
from sequencer.executors.reference.measures import Commanded, Measured, Measures
from sequencer.executors.reference.setpoints import ramped
from sequencer.plan.tables import ActsIn, Loop, Plan


class LoopState:
    """One loop. `contribution` is what it gives in this tick, its authority counted in (L8)."""

    __slots__ = (
        "_acts_in",
        "_authority",
        "_constants",
        "_derivative",
        "_fresh",
        "_inputs",
        "_integral",
        "_last_value",
        "_loop",
        "_outer",
        "_parameters",
        "_signal",
        "_starts",
        "_terms",
        "_u",
        "contribution",
    )

    def __init__(
        self,
        loop: Loop,
        inputs: Measures,
        setpoints: Sequence[Commanded],
        outer: Sequence["LoopState"],
        parameters: Sequence[float],
    ) -> None:
        self._loop = loop
        self._parameters = parameters
        self._inputs = inputs
        self._signal: Measured = inputs.signals[loop.signal]
        self._terms = [
            (None if term.setpoint is None else setpoints[term.setpoint], term.constant)
            for term in loop.terms
        ]
        self._outer = [(adds.gain, outer[adds.loop]) for adds in loop.inputs]
        self._acts_in: tuple[ActsIn, ...] | None = loop.acts_in
        self.reset()

    def reset(self) -> None:
        """Begin without authority, without memory."""
        self._authority = 0.0
        self._u = self.contribution = 0.0
        self._integral = self._derivative = self._last_value = 0.0
        self._starts = True
        self._fresh = False

    def work(self, count: int, drives: bool) -> None:
        """Do a tick; `count` is its number since the reset tick, which is 0."""
        self._fresh = self._fresh or self._signal.fresh
        self._take_authority(drives)
        if self._authority == 0.0:
            self._u, self._starts = 0.0, True
        elif self._signal.known is None:
            self._go_without()
        elif self._fresh and count % self._loop.every_ticks == 0:
            self._fresh = False
            self._run(self._signal.known)
        self.contribution = self._u if self._authority == 1.0 else f32(self._authority * self._u)

    def _take_authority(self, drives: bool) -> None:
        """L2 and L3: gain authority while the loop acts, lose it while it does not."""
        acts = drives and self._acts()
        step = self._loop.fade_step
        if not drives or step is None:
            self._authority = 1.0 if acts else 0.0
        elif acts:
            self._authority = min(f32(self._authority + step), 1.0)
        else:
            self._authority = max(f32(self._authority - step), 0.0)

    def _acts(self) -> bool:
        """Tell whether the loop acts in the phases that are active after this tick's switch."""
        if self._acts_in is None:
            return True
        active = self._inputs.phases
        return any(active[entry.sequence] in entry.phases for entry in self._acts_in)

    def _go_without(self) -> None:
        """L7: the signal is not known. An inner loop gives nothing, an outer one bleeds what it gave away."""
        self._starts = True
        if self._loop.output is not None:
            self._u = 0.0
        elif self._signal.lost:
            self._u = ramped(self._u, 0.0, self._loop.bleed_step)

    def _reference(self) -> float:
        """L4: the terms in the order of the list, then what outer loops add, in loop order."""
        r: float | None = None
        for setpoint, constant in self._terms:
            term = constant if setpoint is None else setpoint.value
            r = term if r is None else f32(r + term)
        assert r is not None  # a loop has at least one term
        for gain, outer in self._outer:
            r = f32(r + f32(gain * outer.contribution))
        return r

    def _run(self, y: float) -> None:
        """L6: one step of the controller on the fresh value `y`."""
        loop = self._loop
        e = _outside_dead_band(f32(self._reference() - y), loop.dead_band)
        bi = self._gain(loop.bi, loop.bi_times)
        p = f32(self._gain(loop.kp, loop.kp_times) * e)
        if self._starts:
            self._derivative = 0.0
            smooth = loop.bumpless and bi != 0.0
            self._integral = limited(f32(self._u - p), loop.integral_limit) if smooth else 0.0
        elif loop.differentiates:
            change = f32(y - self._last_value)
            bd = self._gain(loop.bd, loop.bd_times)
            self._derivative = f32(f32(loop.ad * self._derivative) - f32(bd * change))
        if bi == 0.0:
            self._integral = 0.0  # also one that was trimmed away
        v = f32(f32(p + self._integral) + self._derivative)
        self._starts = not is_finite(v)  # so that one absurd sample does not stay in the loop
        if self._starts:
            self._u = 0.0
            return
        self._u = self._limited(v)
        if bi != 0.0:
            grown = f32(self._integral + f32(bi * e))
            back = f32(loop.br * f32(self._u - v))
            self._integral = limited(f32(grown + back), loop.integral_limit)
        self._last_value = y

    def _gain(self, folded: float, times: int | None) -> float:
        """Give a gain as it stands."""
        return folded if times is None else f32(folded * self._parameters[times])

    def _limited(self, v: float) -> float:
        """Limit v, by the parameter that says how far it may go if there is one."""
        loop = self._loop
        if loop.limit_from is None:
            return clamped(v, loop.low, loop.high)
        return limited(v, self._parameters[loop.limit_from])


def _outside_dead_band(e: float, d: float) -> float:
    if d == 0.0:
        return e
    if e > d:
        return f32(e - d)
    if e < -d:
        return f32(e + d)
    return 0.0


def clamped(x: float, low: float, high: float) -> float:
    """Limit x with ``<`` and ``>``: what is not a number stays."""
    if x < low:
        return low
    if x > high:
        return high
    return x


def limited(x: float, most: float) -> float:
    """Limit x either way."""
    return clamped(x, -most, most)


def make_loops(
    plan: Plan, inputs: Measures, setpoints: Sequence[Commanded], parameters: Sequence[float]
) -> list[LoopState]:
    """Make the state of every loop, outer before inner."""
    loops: list[LoopState] = []
    for loop in plan.loops:
        loops.append(LoopState(loop, inputs, setpoints, loops, parameters))
    return loops
