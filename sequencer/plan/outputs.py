"""The table of outputs: span, slew, supply compensation, stall."""

from sequencer.base.binary32 import load_f32
from sequencer.base.places import Place
from sequencer.base.quantities import Quantity
from sequencer.gait.machine_model import MachineFile, OutputBlock, StallBlock
from sequencer.plan.context import Context
from sequencer.plan.ramps import moves
from sequencer.plan.tables import Output, Signal, Stall, Supply

Path = tuple[str, ...]
FULL_DUTY = (-1.0, 1.0)
UNDER_FOR_MS = 500  # our choices, where the file leaves them out
SMOOTH_S = 0.5


class OutputTables:
    """Builds the outputs' rows; which loops drive them is filled in by the loops."""

    def __init__(
        self, context: Context, machine: MachineFile, tick_ms: int, signals: tuple[Signal, ...]
    ) -> None:
        self.context = context
        self.machine = machine
        self.where = context.machine.where
        self.tick_ms = tick_ms
        self.signals = signals

    def build(self) -> tuple[Output, ...]:
        """Make the table, without loops."""
        blocks = self.machine.outputs
        return tuple(self._output(name, blocks[name]) for name in self.context.names["output"].index)

    def _at(self, path: Path) -> Place:
        return self.where.value(path)

    def _cut(self, path: Path) -> bool:
        return self.context.was_cut(self.context.machine, *path)

    def _output(self, name: str, block: OutputBlock) -> Output:
        context, path = self.context, ("outputs", name)
        span = context.span(block.span, "", self._at((*path, "span"))) if block.span else None
        low, high = span or FULL_DUTY
        if not low <= 0 <= high:
            message = f"0 is outside the span of {name}, and an output that is off is 0"
            context.error("out-of-span", self._at((*path, "span")), message, expected="a span with 0 in it")
        largest = max(abs(low), abs(high))
        cap, cap_from = self._cap((*path, "cap"), block.cap, largest)
        return Output(
            name=name,
            low=low,
            high=high,
            slew_step=self._slew((*path, "slew"), block.slew, largest),
            supply=self._supply(path, block),
            stall=self._stall((*path, "stall"), block.stall, largest) if block.stall else None,
            holds_unpowered=block.holds_unpowered,
            loops=(),
            place=self.where.key(path),
            cap=cap,
            cap_from=cap_from,
        )

    def _cap(self, path: Path, cap: Quantity | str | None, largest: float) -> tuple[float | None, int | None]:
        """Give the most of an output either way, and the parameter that gives it, if one does."""
        context, place = self.context, self._at(path)
        if cap is None:
            return None, None
        if isinstance(cap, str):
            index = context.named(cap, "", place)
            if index is None or not context.not_below_0(index, place):
                return None, None
            highest, value = context.parameters[index].high, context.parameters[index].value
        else:
            number = context.number(cap, "", place)
            index, value = None, 0.0 if number is None else load_f32(number)
            highest = value
        if value < 0 or highest > largest:
            said = f"{cap} can be trimmed to {highest:g}" if index is not None else f"cap is {cap}"
            context.error("out-of-span", place, said, expected=f"0 to {largest:g}, the largest of the span")
        return value, index

    def _slew(self, path: Path, slew: Quantity | None, largest: float) -> float | None:
        if slew is None:
            return None
        context, place = self.context, self._at(path)
        per_second = context.per_second(slew, "", place)
        if per_second is None:
            return None
        step = load_f32(per_second * self.tick_ms / 1000)
        if step <= 0 or not moves(step, largest):
            message = f"{slew} does not move an output of {largest:g} in a tick"
            context.error("out-of-span", place, message, expected="a change per time above 0, such as 4 /s")
            return None
        return step if context.fits(per_second * self.tick_ms / 1000, place) else None

    # supply

    def _supply(self, path: Path, block: OutputBlock) -> Supply | None:
        if block.supply is None:
            self._without_supply(path, block)
            return None
        context = self.context
        index = context.find("signal", block.supply, self._at((*path, "supply")))
        if block.full_scale_at is None and not self._cut((*path, "full_scale_at")):
            context.error(
                "missing-key",
                self.where.key((*path, "supply")),
                "supply needs the voltage at which the span is full scale",
                expected="full_scale_at: 12 V",
            )
        if index is None or block.full_scale_at is None:
            return None
        unit = self.signals[index].unit
        full = self._above_0((*path, "full_scale_at"), block.full_scale_at, unit)
        least = self._above_0((*path, "least_supply"), block.least_supply, unit)
        if block.under_for is not None and block.least_supply is None:
            self._needs(path, "under_for", "least_supply: 10 V")
        under = UNDER_FOR_MS
        if block.under_for is not None:
            under = context.ms(block.under_for, self._at((*path, "under_for"))) or 0
        if full is None:
            return None
        return Supply(index, full, self._weight(path, block, index), least, under)

    def _without_supply(self, path: Path, block: OutputBlock) -> None:
        if self._cut((*path, "supply")):
            return
        for key in ("full_scale_at", "least_supply", "under_for", "smooth"):
            if getattr(block, key) is not None:
                self._needs(path, key, "supply: battery, a signal")
                return

    def _needs(self, path: Path, key: str, expected: str) -> None:
        needed = expected.partition(":")[0]
        if not self._cut((*path, needed)):
            place = self.where.key((*path, key))
            self.context.error("missing-key", place, f"{key} needs {needed}", expected=expected)

    def _above_0(self, path: Path, quantity: Quantity | None, unit: str) -> float | None:
        """Give a quantity above 0 in `unit`; notes an error if it is none."""
        if quantity is None:
            return None
        value = self.context.number(quantity, unit, self._at(path))
        if value is not None and load_f32(value) <= 0:
            message = f"{path[-1]} is {quantity}"
            self.context.error("out-of-span", self._at(path), message, expected="above 0")
            return None
        return None if value is None else load_f32(value)

    def _weight(self, path: Path, block: OutputBlock, signal: int) -> float:
        """Give a fresh sample's weight h / (smooth + h): backward Euler of a first-order low-pass."""
        smooth = SMOOTH_S
        if block.smooth is not None:
            value = self.context.number(block.smooth, "s", self._at((*path, "smooth")))
            smooth = value or 0.0
            if smooth < 0:
                place = self._at((*path, "smooth"))
                self.context.error("out-of-span", place, "smooth is negative", expected="0 s or more")
                smooth = 0.0
        every_us = self.signals[signal].every_us
        h = self.tick_ms / 1000 if every_us is None else every_us / 1e6
        return load_f32(h / (smooth + h))

    # stall

    def _stall(self, path: Path, block: StallBlock, largest: float) -> Stall | None:
        context = self.context
        index = context.find("signal", block.signal, self._at((*path, "signal")))
        above = self._above_0((*path, "above"), block.above, "")
        if above is not None and above >= largest:
            message = f"the output never gets beyond {above:g}"
            place = self._at((*path, "above"))
            context.error("out-of-span", place, message, expected=f"below {largest:g}")
        for_ms = context.ms(block.for_, self._at((*path, "for")), least=1)
        if index is None:
            return None
        moved = self._above_0((*path, "moves"), block.moves, self.signals[index].unit)
        if above is None or for_ms is None or moved is None:
            return None
        return Stall(above, index, moved, for_ms)
