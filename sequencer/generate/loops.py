"""Loops and outputs as their functions print them, and where what they remember is kept."""

from collections.abc import Iterator
from dataclasses import dataclass, field

from sequencer.base.binary32 import literal
from sequencer.generate.drive_views import (
    ActsView,
    AddsView,
    DrivesView,
    LoopView,
    OutputView,
    StallView,
    SupplyView,
)
from sequencer.generate.names import where
from sequencer.generate.spelling import Spelling, product_is_needed, smallest, whole
from sequencer.plan.tables import Loop, Output, Plan
from sequencer.plan.unpowered import unpowered_words


@dataclass
class _Places:
    """Numbers for what only some loops and outputs remember, by loop or output, in the plan's order."""

    integrals: dict[int, int] = field(default_factory=dict)
    slopes: dict[int, int] = field(default_factory=dict)
    fades: dict[int, int] = field(default_factory=dict)
    turns: dict[int, int] = field(default_factory=dict)  # by the number of ticks
    supplies: dict[int, int] = field(default_factory=dict)
    leasts: dict[int, int] = field(default_factory=dict)
    stalls: dict[int, int] = field(default_factory=dict)


def _numbered(indices: "list[int]") -> dict[int, int]:
    return {index: number for number, index in enumerate(indices)}


def _places(plan: Plan) -> _Places:
    loops, outputs = list(enumerate(plan.loops)), list(enumerate(plan.outputs))
    return _Places(
        integrals=_numbered([i for i, loop in loops if loop.integrates]),
        slopes=_numbered([i for i, loop in loops if loop.differentiates]),
        fades=_numbered([i for i, loop in loops if loop.fade_step is not None]),
        turns=_numbered(sorted({loop.every_ticks for _, loop in loops} - {1})),
        supplies=_numbered([i for i, output in outputs if output.supply is not None]),
        leasts=_numbered([i for i, o in outputs if o.supply is not None and o.supply.least is not None]),
        stalls=_numbered([i for i, output in outputs if output.stall is not None]),
    )


class DrivesWriter:
    """Makes the views of loops and outputs."""

    def __init__(self, plan: Plan, spelling: Spelling) -> None:
        self._plan = plan
        self._spelling = spelling
        self._places = _places(plan)

    def loops(self) -> tuple[LoopView, ...]:
        """Spell the loops, outer before inner."""
        return tuple(self._loop(i, loop) for i, loop in enumerate(self._plan.loops))

    def outputs(self) -> tuple[OutputView, ...]:
        """Spell the outputs."""
        return tuple(self._output(i, output) for i, output in enumerate(self._plan.outputs))

    def drives(self) -> DrivesView | None:
        """Say how much there is to remember; None for a plan without loops and outputs."""
        plan, places = self._plan, self._places
        if not plan.loops and not plan.outputs:
            return None
        stem = f"{self._spelling.gait}_loops".replace("__", "_")
        whole_steps = plan.fixed is not None
        return DrivesView(
            header=f"{stem}.h",
            source=f"{stem}.cpp",
            loops=len(plan.loops),
            outputs=len(plan.outputs),
            integrals=len(places.integrals),
            slopes=len(places.slopes),
            fades=len(places.fades),
            turns=tuple(whole(ticks) for ticks in places.turns),
            turn_type=smallest(max(places.turns, default=0)),
            supplies=len(places.supplies),
            leasts=len(places.leasts),
            stalls=len(places.stalls),
            products=bool(plan.loops) or bool(places.supplies) or (bool(places.stalls) and whole_steps),
            dead_bands=any(loop.dead_band for loop in plan.loops),
            ramps=bool(plan.loops) or any(o.slew_step is not None for o in plan.outputs),
            stops=tuple(self._stops()),
        )

    def _stops(self) -> Iterator[str]:
        several = len(self._plan.sequences) > 1
        for sequence in self._plan.sequences:
            for phase in sequence.phases:
                words = unpowered_words(self._plan, phase)
                if words:
                    name = f"{sequence.name}.{phase.name}" if several else phase.name
                    yield f"Stop phase {name}: {words}"

    # -- loops ---------------------------------------------------------------------------------------------

    def _loop(self, index: int, loop: Loop) -> LoopView:
        spelling, places = self._spelling, self._places
        name = spelling.loops[index]
        fade, limit = places.fades.get(index), loop.limit_from
        return LoopView(
            name=name,
            text=loop.name,
            unit=loop.unit,
            words=self._words(loop),
            place=where(loop.place),
            function=f"run_{name.removeprefix('loop_')}",
            index=index,
            u=f"m.correction[{name}]" if fade is None else f"m.unfaded[{fade}]",
            signal=spelling.signals[loop.signal],
            terms=tuple(
                literal(term.constant) if term.setpoint is None
                else self._setpoint(term.setpoint)
                for term in loop.terms
            ),
            inputs=self._inputs(loop),
            kp=self._gain(loop.kp, loop.kp_times),
            bi=literal(loop.bi) if loop.bi_times is None else "bi",
            br=literal(loop.br),
            ad=literal(loop.ad),
            bd=self._gain(loop.bd, loop.bd_times),
            low=literal(loop.low) if limit is None else f"-{self._parameter(limit)}",
            high=literal(loop.high) if limit is None else self._parameter(limit),
            integral_limit=literal(loop.integral_limit),
            dead_band=literal(loop.dead_band) if loop.dead_band else "",
            bumpless=loop.bumpless,
            trimmed_bi="" if loop.bi_times is None else self._gain(loop.bi, loop.bi_times),
            integral=places.integrals.get(index),
            slope=places.slopes.get(index),
            turn=places.turns.get(loop.every_ticks),
            fade=fade,
            fade_step="" if loop.fade_step is None else literal(loop.fade_step),
            bleed_step="" if loop.output is not None else literal(loop.bleed_step),
            always=loop.acts_in is None,
            acts_in=self._acts_in(loop),
        )  # fmt: skip

    def _setpoint(self, index: int) -> str:
        """Spell a setpoint's ramped value, in its unit."""
        kept, fixed = f"m.setpoint[{self._spelling.setpoints[index]}]", self._plan.fixed
        return kept if fixed is None else self._in_units(kept, fixed.setpoints[index])

    def _parameter(self, index: int) -> str:
        """Spell a parameter, in its unit."""
        kept, fixed = f"m.parameter[{self._spelling.parameters[index]}]", self._plan.fixed
        return kept if fixed is None else self._in_units(kept, fixed.parameters[index])

    @staticmethod
    def _in_units(steps: str, resolution: float) -> str:
        return f"multiplied(static_cast<float>({steps}), {literal(resolution)})"

    def _gain(self, folded: float, times: int | None) -> str:
        """Spell a gain: a literal, a parameter, or the product of both."""
        if times is None:
            return literal(folded)
        given = self._parameter(times)
        return f"multiplied({literal(folded)}, {given})" if product_is_needed(folded) else given

    def _inputs(self, loop: Loop) -> tuple[AddsView, ...]:
        return tuple(
            AddsView(self._spelling.loops[a.loop], literal(a.gain) if product_is_needed(a.gain) else "")
            for a in loop.inputs
        )

    def _acts_in(self, loop: Loop) -> tuple[ActsView, ...]:
        spelling = self._spelling
        views = [
            ActsView(f"phase{spelling.suffixes[acts.sequence]}", spelling.phase(acts.sequence, p))
            for acts in loop.acts_in or ()
            for p in acts.phases
        ]
        return tuple(dict.fromkeys(views))

    def _words(self, loop: Loop) -> str:
        plan = self._plan
        if loop.output is not None:
            does = f"drives {plan.outputs[loop.output].name}"
        else:
            index = plan.loops.index(loop)
            fed = [other.name for other in plan.loops if index in [a.loop for a in other.inputs]]
            does = f"adds to {', '.join(fed)}" if fed else "adds to no loop"
        every = "" if loop.every_ticks == 1 else f", every {loop.every_ticks} ticks"
        return f"{loop.name} watches {plan.signals[loop.signal].name} and {does}{every}"

    # -- outputs -------------------------------------------------------------------------------------------

    def _output(self, index: int, output: Output) -> OutputView:
        name = self._spelling.outputs[index]
        return OutputView(
            name=name,
            text=output.name,
            place=where(output.place),
            function=f"drive_{name.removeprefix('output_')}",
            loops=tuple(self._spelling.loops[i] for i in output.loops),
            low=literal(output.low),
            high=literal(output.high),
            cap=self._cap(output),
            slew_step="" if output.slew_step is None else literal(output.slew_step),
            supply=self._supply(index, output),
            stall=self._stall(index, output),
        )

    def _cap(self, output: Output) -> str:
        if output.cap_from is not None:
            return self._parameter(output.cap_from)
        return "" if output.cap is None else literal(output.cap)

    def _supply(self, index: int, output: Output) -> SupplyView | None:
        supply = output.supply
        if supply is None:
            return None
        return SupplyView(
            slot=self._places.supplies[index],
            signal=self._spelling.signals[supply.signal],
            unit=self._plan.signals[supply.signal].unit,
            full_scale_at=literal(supply.full_scale_at),
            smooth=literal(supply.smooth),
            least=None if supply.least is None else literal(supply.least),
            least_slot=self._places.leasts.get(index, 0),
            under_for_ms=whole(supply.under_for_ms),
        )

    def _stall(self, index: int, output: Output) -> StallView | None:
        stall = output.stall
        if stall is None:
            return None
        return StallView(
            slot=self._places.stalls[index],
            above=literal(stall.above),
            signal=self._spelling.signals[stall.signal],
            moves=literal(stall.moves),
            for_ms=whole(stall.for_ms),
        )
