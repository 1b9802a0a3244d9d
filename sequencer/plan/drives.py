"""The tables of loops and outputs, for "Loops and outputs" in DEVELOPERS.md.

Gains are folded here with the loop's period, in binary64, and rounded once.
"""

from dataclasses import dataclass, replace

from sequencer.base.binary32 import load_f32
from sequencer.base.places import Place
from sequencer.base.quantities import Quantity, UnitError, looks_like_number
from sequencer.gait.fields import to_quantity
from sequencer.gait.gait_model import GaitFile
from sequencer.gait.machine_model import LoopBlock, MachineFile
from sequencer.plan.context import Context
from sequencer.plan.gains import GainTables
from sequencer.plan.guards import GuardTables
from sequencer.plan.outputs import OutputTables, Path
from sequencer.plan.ramps import moves
from sequencer.plan.tables import ActsIn, Adds, Loop, Setpoint, Signal, Term

NO_LIMIT = (2.0 - 2.0**-23) * 2.0**127  # the largest binary32
MOST_TICKS = 65535  # of a loop's period


@dataclass(frozen=True, slots=True)
class _Row:
    """A loop before it has its place in the order: what it drives is known by name."""

    loop: Loop
    adds_to: dict[str, float]


class DriveTables:
    """Builds the tables of outputs and loops."""

    def __init__(
        self, context: Context, machine: MachineFile, tick_ms: int, signals: tuple[Signal, ...]
    ) -> None:
        self.context = context
        self.machine = machine
        self.where = context.machine.where
        self.tick_ms = tick_ms
        self.signals = signals
        self.outputs = OutputTables(context, machine, tick_ms, signals).build()
        self.loops: tuple[Loop, ...] = ()

    def build(self, gait: GaitFile, guards: GuardTables, setpoints: tuple[Setpoint, ...]) -> None:
        """Make both tables: loops with the outer ones before those they add to, outputs with their loops."""
        acting = self._acting(gait, guards)
        rows = {
            name: self._row(name, block, setpoints, acting.get(name))
            for name, block in self.machine.loops.items()
        }
        self.loops = self._joined(self._ordered(rows))
        self.outputs = tuple(
            replace(output, loops=tuple(i for i, loop in enumerate(self.loops) if loop.output == number))
            for number, output in enumerate(self.outputs)
        )

    # -- one loop ------------------------------------------------------------------------------------------

    def _row(
        self, name: str, block: LoopBlock, setpoints: tuple[Setpoint, ...], acts_in: tuple[ActsIn, ...] | None
    ) -> _Row:
        path: Path = ("loops", name)
        signal = self.context.find("signal", block.signal, self._at(path, "signal"))
        unit = None if signal is None else self.signals[signal].unit
        output = self._drives(path, block)
        gives = self._unit_given(path, block)  # of what it gives: the limits' unit
        low, high, limit = self._limits(path, block, gives, output)
        most = high if limit is None else self.context.parameters[limit].high
        every, h = self._period(path, block, signal)
        return _Row(
            Loop(
                name=name,
                unit=unit or "",
                signal=signal or 0,
                terms=self._terms(path, block, unit, setpoints),
                inputs=(),
                **GainTables(self.context, path, block).fold(h),
                low=low,
                high=high,
                integral_limit=self._above_0(path, "integral_limit", block.integral_limit, gives) or NO_LIMIT,
                dead_band=self._dead_band(path, block, unit),
                bumpless=self._bumpless(path, block),
                every_ticks=every,
                fade_step=self._fade(path, block),
                bleed_step=self._bleed(path, block, gives, most),
                output=output,
                acts_in=acts_in,
                place=self.where.key(path),
                limit_from=limit,
            ),
            dict(block.adds_to or {}),
        )

    def _at(self, path: Path, *more: str | int) -> Place:
        return self.where.value((*path, *more))

    def _cut(self, path: Path, *keys: str) -> bool:
        return any(self.context.was_cut(self.context.machine, *path, key) for key in keys)

    def _drives(self, path: Path, block: LoopBlock) -> int | None:
        """Find the output that the loop drives; notes an error if it drives nothing, or both kinds."""
        context, place = self.context, self.where.key(path)
        for name in block.adds_to or {}:
            context.find("loop", name, self._at(path, "adds_to", name))
        if block.output is None:
            if not block.adds_to and not self._cut(path, "output", "adds_to"):
                message = f"loop {path[1]} drives nothing"
                context.error("missing-key", place, message, expected="output or adds_to")
            return None
        if block.adds_to:
            message = f"loop {path[1]} drives an output and adds to other loops"
            fix = "make two loops of it"
            context.error("bad-drive", place, message, expected="output or adds_to, not both", fix=fix)
        return context.find("output", block.output, self._at(path, "output"))

    def _unit_given(self, path: Path, block: LoopBlock) -> str | None:
        """Give the unit of a loop's correction: bare for an output, else that of the loops it adds to."""
        units: dict[str, str] = {}
        for name in block.adds_to or {}:
            other = self.machine.loops.get(name)
            index = self.context.names["signal"].index.get(other.signal) if other else None
            if index is not None:
                units.setdefault(self.signals[index].unit, name)
        if len(units) > 1:
            said = " and ".join(f"{name} in {unit or 'no unit'}" for unit, name in units.items())
            message = f"loop {path[1]} adds to loops of different units: {said}"
            self.context.error(
                "bad-unit", self._at(path, "adds_to"), message, expected="loops on signals of one unit"
            )
            return None
        return next(iter(units), None if block.adds_to else "")

    def _limits(
        self, path: Path, block: LoopBlock, unit: str | None, output: int | None
    ) -> tuple[float, float, int | None]:
        """Give the least and the most that a loop gives, and the parameter that says so, if one does."""
        if isinstance(block.limit, str):
            index = self.context.named(block.limit, unit, self._at(path, "limit"))
            if index is not None and self.context.not_below_0(index, self._at(path, "limit")):
                value = self.context.parameters[index].value
                return -value, value, index
            return -1.0, 1.0, None
        limit = self._above_0(path, "limit", block.limit, unit)
        if limit is not None:
            return -limit, limit, None
        if output is not None:
            return self.outputs[output].low, self.outputs[output].high, None
        if block.adds_to and block.limit is None and not self._cut(path, "limit"):
            message = f"loop {path[1]} may add any amount to other loops"
            expected = f"limit: 4 {unit}".rstrip() if unit is not None else "limit: ..."
            self.context.error("missing-key", self.where.key(path), message, expected=expected)
        return -1.0, 1.0, None

    def _above_0(self, path: Path, key: str, quantity: Quantity | None, unit: str | None) -> float | None:
        if quantity is None or unit is None:
            return None
        place = self._at(path, key)
        value = self.context.number(quantity, unit, place)
        if value is not None and load_f32(value) <= 0:
            self.context.error("out-of-span", place, f"{key} is {quantity}", expected="above 0")
            return None
        return None if value is None else load_f32(value)

    def _terms(
        self, path: Path, block: LoopBlock, unit: str | None, setpoints: tuple[Setpoint, ...]
    ) -> tuple[Term, ...]:
        found = (
            self._term(item, self._at(path, "setpoint", i), unit, setpoints)
            for i, item in enumerate(block.setpoint)
        )
        return tuple(term for term in found if term is not None)

    def _term(
        self, item: object, place: Place, unit: str | None, setpoints: tuple[Setpoint, ...]
    ) -> Term | None:
        context = self.context
        if isinstance(item, str) and not looks_like_number(item):
            index = context.find("setpoint", item, place)
            if index is None or unit is None:
                return None
            if setpoints[index].unit != unit:
                said = setpoints[index].unit or "no unit"
                message = f"{item} is in {said}, the loop's signal in {unit or 'no unit'}"
                context.error("bad-unit", place, message, expected="the same unit for both")
            return Term(index, 0.0)
        try:
            quantity = to_quantity(item)
        except (ValueError, UnitError) as error:
            context.error("bad-unit", place, str(error), expected="a setpoint, or a quantity such as 0 deg")
            return None
        value = None if unit is None else context.number(quantity, unit, place)
        return None if value is None else Term(None, load_f32(value))

    # -- numbers -------------------------------------------------------------------------------------------

    def _period(self, path: Path, block: LoopBlock, signal: int | None) -> tuple[int, float]:
        """Give a loop's period in ticks, and h in seconds: that, or the signal's period if it is longer."""
        ticks = 1
        if block.every is not None:
            place = self._at(path, "every")
            ms = self.context.ms(block.every, place, least=1)
            ticks, rest = divmod(ms or self.tick_ms, self.tick_ms)
            if rest or ticks > MOST_TICKS:
                expected = f"a multiple of the tick, {self.tick_ms} ms, up to {MOST_TICKS} of them"
                self.context.error("out-of-span", place, f"{block.every} is no period", expected=expected)
                ticks = 1
        every_us = None if signal is None else self.signals[signal].every_us
        return ticks, max(ticks * self.tick_ms / 1e3, (every_us or 0) / 1e6)

    def _dead_band(self, path: Path, block: LoopBlock, unit: str | None) -> float:
        return self._above_0(path, "dead_band", block.dead_band, unit) or 0.0

    def _bumpless(self, path: Path, block: LoopBlock) -> bool:
        bumpless = block.start == "bumpless"
        if bumpless and not block.ki and not self._cut(path, "ki"):
            message = "only a loop with an integral can start without a bump"
            fix = "give it a ki, or let it fade in"
            self.context.error("bad-drive", self._at(path, "start"), message, expected="ki", fix=fix)
        return bumpless

    def _fade(self, path: Path, block: LoopBlock) -> float | None:
        if block.fade is None:
            return None
        place = self._at(path, "fade")
        ms = self.context.ms(block.fade, place, least=1)
        if ms is None:
            return None
        step = load_f32(self.tick_ms / ms)
        if not moves(step, 1.0):
            message = f"a fade of {block.fade} is too slow for binary32"
            self.context.error("out-of-span", place, message, expected="a shorter time")
        return step

    def _bleed(self, path: Path, block: LoopBlock, unit: str | None, limit: float) -> float:
        """Give how much an outer loop's correction goes down in a tick while its signal is lost."""
        usual = load_f32(limit * self.tick_ms / 1000)
        if block.bleed is None:
            return usual
        place = self._at(path, "bleed")
        if block.output is not None:
            message = "a loop that drives an output gives 0 at once while its signal is lost"
            self.context.error(
                "bad-drive", place, message, expected="bleed beside adds_to", fix="take it out"
            )
            return usual
        per_second = None if unit is None else self.context.per_second(block.bleed, unit, place)
        if per_second is None:
            return usual
        step = load_f32(per_second * self.tick_ms / 1000)
        if step <= 0 or not moves(step, limit):
            message = f"{block.bleed} does not move {limit:g} {unit}".rstrip()
            self.context.error("out-of-span", place, message, expected="above 0, so much per time")
            return usual
        return step if self.context.fits(per_second * self.tick_ms / 1000, place) else usual

    # -- order ---------------------------------------------------------------------------------------------

    def _ordered(self, rows: dict[str, _Row]) -> list[_Row]:
        """Put outer loops first; of those whose inputs stand already, the first in the file comes next."""
        waiting, ordered = dict(rows), list[_Row]()
        while waiting:
            added_to = {name for row in waiting.values() for name in row.adds_to}
            name = next((name for name in waiting if name not in added_to), None)
            if name is None:
                self._tell_ring(waiting)
                return [*ordered, *waiting.values()]
            ordered.append(waiting.pop(name))
        return ordered

    def _tell_ring(self, waiting: dict[str, _Row]) -> None:
        """Name the loops of a ring: every loop that is left is added to by another one that is left."""
        adds_to_it = {to: name for name, row in reversed(waiting.items()) for to in row.adds_to}
        name = next(iter(waiting))
        path: list[str] = []
        while name not in path:
            path.append(name)
            name = adds_to_it[name]
        ring = [*path[path.index(name) :], name][::-1]
        message = f"loops add to each other in a ring: {' to '.join(ring)}"
        place = self.where.value(("loops", ring[0], "adds_to", ring[1]))
        fix = f"take {ring[-1]} out of adds_to of {ring[-2]}"
        self.context.error(
            "bad-drive", place, message, expected="outer loops that add to inner ones", fix=fix
        )

    def _joined(self, ordered: list[_Row]) -> tuple[Loop, ...]:
        """Enter in each loop the loops that add to it, in loop order."""
        return tuple(
            replace(
                row.loop,
                inputs=tuple(
                    Adds(number, load_f32(outer.adds_to[row.loop.name]))
                    for number, outer in enumerate(ordered)
                    if row.loop.name in outer.adds_to
                    and self.context.fits(
                        outer.adds_to[row.loop.name],
                        self._at(("loops", outer.loop.name), "adds_to", row.loop.name),
                    )
                ),
            )
            for row in ordered
        )

    # -- when they act -------------------------------------------------------------------------------------

    def _acting(self, gait: GaitFile, guards: GuardTables) -> dict[str, tuple[ActsIn, ...]]:
        """Find the phases in which the loops act that the gait speaks of."""
        context, acting = self.context, {}
        for name, block in gait.loops.items():
            path = ("loops", name)
            if context.find("loop", name, context.gait.where.key(path)) is None:
                continue
            found: dict[int, tuple[int, ...]] = {}
            for sequence, phases in block.acts_in.items():
                at = (*path, "acts_in", *([sequence] if sequence else []))
                number = self._sequence(sequence, at, guards)
                if number is not None:
                    found[number] = self._phases(guards.sequences[number], phases, at, guards)
            acting[name] = tuple(ActsIn(number, found[number]) for number in sorted(found) if found[number])
        return acting

    def _sequence(self, name: str, at: Path, guards: GuardTables) -> int | None:
        if name:
            return self.context.find("sequence", name, self.context.gait.where.key(at))
        if len(guards.sequences) == 1:
            return 0
        message = "with several sequences it must be said whose phases these are"
        self.context.error("wrong-type", self.context.at(*at), message, expected="{SEQUENCE: [PHASES]}")
        return None

    def _phases(self, sequence: str, names: list[str], at: Path, guards: GuardTables) -> tuple[int, ...]:
        found = [guards.find_phase(sequence, name, self.context.at(*at, i)) for i, name in enumerate(names)]
        return tuple(sorted({i for i in found if i is not None}))
