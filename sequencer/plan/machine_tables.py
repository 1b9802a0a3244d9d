"""The tables that come from the machine file: signals, setpoints, the remote."""

from sequencer.base.binary32 import f32, load_f32
from sequencer.base.places import Place
from sequencer.base.quantities import Quantity
from sequencer.gait.fields import RateText
from sequencer.gait.machine_model import (
    BelieveBlock,
    MachineFile,
    RemoteBlock,
    ScaleBlock,
    SetpointBlock,
    SignalBlock,
)
from sequencer.plan.context import Context
from sequencer.plan.ramps import moves
from sequencer.plan.tables import (
    MOST_BITS,
    MOST_SIGNALS,
    Believe,
    Follower,
    Name,
    Rate,
    Remote,
    Setpoint,
    Signal,
)

REMOTE = "remote"  # `lost: remote` asks for it, so nothing else may have the name


class MachineTables:
    """Builds the machine's tables; owners of setpoints are filled in later, by the phases."""

    def __init__(self, context: Context, machine: MachineFile) -> None:
        self.context = context
        self.machine = machine
        self.where = context.machine.where
        self.tick_ms = context.ms(machine.tick, self.at("tick"), least=1) or 1
        self._names()

    def at(self, *path: str | int) -> Place:
        """Give the place of a value in the machine file."""
        return self.where.value(path)

    def _names(self) -> None:
        context, machine, file = self.context, self.machine, self.context.machine
        pulses = [name for name, output in machine.outputs.items() if output.pulse]
        plain = [
            name
            for name, output in machine.outputs.items()
            if not output.pulse and not context.was_cut(file, "outputs", name, "pulse")
        ]
        outputs = file.declared.get("outputs", ())
        for kind, key, found, declared in (
            ("signal", "signals", list(machine.signals), file.declared.get("signals", ())),
            ("event", "events", machine.events, file.declared.get("events", ())),
            ("switch", "switches", machine.switches, file.declared.get("switches", ())),
            ("setpoint", "setpoints", list(machine.setpoints), file.declared.get("setpoints", ())),
            # a broken output may have been meant as either, a sound one is what it says
            ("pulse", "outputs", pulses, tuple({*outputs} - {*plain})),
            ("output", "outputs", plain, tuple({*outputs} - {*pulses})),
            ("loop", "loops", list(machine.loops), file.declared.get("loops", ())),
        ):
            context.declare(kind, found, declared, file)
            context.twice(found, self.where, key)
            if REMOTE in found:
                message = "remote is the remote control itself"
                place = context.place_of(kind, REMOTE, file)
                context.error("reserved-name", place, message, expected="another name")
            most = MOST_SIGNALS if kind in {"signal", "setpoint", "output", "loop"} else MOST_BITS
            if len(found) > most:
                context.error("too-large", self.at(key), f"more than {most} {kind}s", expected=f"{most}")
        self.pulses = tuple(Name(name, self.where.key(("outputs", name))) for name in pulses)

    def bare_names(self, key: str, names: list[str]) -> tuple[Name, ...]:
        """Make the table of events or switches."""
        return tuple(Name(name, self.at(key, i)) for i, name in enumerate(names))

    # signals

    def signals(self) -> tuple[Signal, ...]:
        """Make the table of signals; a broken one stands in with what can be told."""
        return tuple(self._signal(name, block) for name, block in self.machine.signals.items())

    def _signal(self, name: str, block: SignalBlock) -> Signal:
        context, path = self.context, ("signals", name)
        lost_after = None
        if block.lost_after is not None:
            lost_after = self._lost_after((*path, "lost_after"), block.lost_after)
        unit = context.unit_of(path[0].removesuffix("s"), name, block.unit, self.at(*path, "unit"))
        low, high = context.span(block.span, unit, self.at(*path, "span")) or (-1.0, 1.0)
        zero, zero_from = self._zero((*path, "zero"), block.zero, unit)
        noise = context.number(block.noise, unit, self.at(*path, "noise")) if block.noise else 0.0
        if noise is not None and noise < 0:
            context.error("out-of-span", self.at(*path, "noise"), "noise is negative", expected="0 or more")
        gain, bias = self._line(path, block.scale, unit, zero)
        return Signal(
            name=name,
            unit=unit,
            gain=gain,
            bias=bias,
            low=low,
            high=high,
            every_us=context.us(block.every, self.at(*path, "every")) if block.every else None,
            noise=load_f32(noise or 0.0),
            lost_after_ms=lost_after,
            believe=self._believe(path, block.believe, unit),
            scaled=block.scale is not None,
            place=self.where.key(path),
            zero_from=zero_from,
        )

    def _zero(
        self, path: tuple[str, ...], zero: Quantity | str | None, unit: str
    ) -> tuple[float, int | None]:
        """Give the zero that goes into the bias, and the parameter that is subtracted at run time instead."""
        if isinstance(zero, str):
            return 0.0, self.context.named(zero, unit, self.at(*path))
        return (self.context.number(zero, unit, self.at(*path)) if zero else 0.0) or 0.0, None

    def _lost_after(self, path: tuple[str, ...], quantity: Quantity) -> int | None:
        ms = self.context.ms(quantity, self.at(*path), least=1)
        if ms is None:
            self.context.told.add(path)
        return ms

    def _line(
        self, path: tuple[str, str], scale: ScaleBlock | None, unit: str, zero: float
    ) -> tuple[float, float]:
        """Fold scale and zero: value = raw * gain + bias, computed in binary64 and rounded once."""
        gain, bias = 1.0, 0.0 - zero
        place = self.at(*path, "scale")
        if scale is not None:
            counts = [self.context.number(q, "counts", place, bare=True) for q in scale.counts]
            reads = [self.context.number(q, unit, place, bare=True) for q in scale.reads]
            if None in counts or None in reads:
                return 1.0, 0.0
            (c0, c1), (r0, r1) = counts, reads
            assert c0 is not None and c1 is not None and r0 is not None and r1 is not None
            if c0 == c1 or r0 == r1:
                message = "the two points of the scale are the same"
                self.context.error("out-of-span", place, message, expected="two different readings")
                return 1.0, 0.0
            gain = (r1 - r0) / (c1 - c0)
            bias = r0 - c0 * gain - zero
        if not self.context.fits(gain, place) or not self.context.fits(bias, place):
            return 1.0, 0.0
        if load_f32(gain) == 0.0:
            self.context.error(
                "bad-number",
                place,
                f"a gain of {gain:g} is too small for the controller",
                expected="above 1e-45",
            )
        return load_f32(gain), load_f32(bias)

    def _believe(self, path: tuple[str, str], block: BelieveBlock | None, unit: str) -> Believe | None:
        if block is None:
            return None
        if block.counts is not None:
            span = self.context.span(block.counts, "counts", self.at(*path, "believe", "counts"))
            return Believe("counts", *span) if span else None
        assert block.reads is not None
        span = self.context.span(block.reads, unit, self.at(*path, "believe", "reads"))
        return Believe("reads", *span) if span else None

    # remote

    def remote(self, block: RemoteBlock | None) -> Remote | None:
        """Make the remote's row."""
        if block is None:
            return None
        events, switches = [], []
        self.context.twice(block.carries, self.where, "remote", "carries")
        for i, name in enumerate(block.carries):
            place = self.at("remote", "carries", i)
            if name in self.context.names["switch"].declared:
                switches.append(self.context.find("switch", name, place))
            else:
                events.append(self.context.find("event", name, place))
        return Remote(
            events=tuple(i for i in events if i is not None),
            switches=tuple(i for i in switches if i is not None),
            every_us=self.context.us(block.every, self.at("remote", "every")) if block.every else None,
            lost_after_ms=(
                self._lost_after(("remote", "lost_after"), block.lost_after) if block.lost_after else None
            ),
            place=self.where.key(("remote",)),
        )

    # setpoints

    def setpoints(self, signals: tuple[Signal, ...]) -> tuple[Setpoint, ...]:
        """Make the table of setpoints, without owners."""
        return tuple(self._setpoint(name, block, signals) for name, block in self.machine.setpoints.items())

    def _setpoint(self, name: str, block: SetpointBlock, signals: tuple[Signal, ...]) -> Setpoint:
        context, path = self.context, ("setpoints", name)
        unit = context.unit_of(path[0].removesuffix("s"), name, block.unit, self.at(*path, "unit"))
        span = context.span(block.span, unit, self.at(*path, "span"))
        low, high = span or (-1.0, 1.0)
        start = context.number(block.start, unit, self.at(*path, "start"))
        start = low if start is None else load_f32(start)
        if span is not None and not low <= start <= high:
            message = f"start {block.start} is outside the span of {name}"
            context.error(
                "out-of-span", self.at(*path, "start"), message, expected=f"{low:g} to {high:g} {unit}"
            )
        rate = self._rate(path, block.rate, unit, max(abs(low), abs(high))) if block.rate else None
        followers = self._followers(path, block.followed_by or {}, unit, signals)
        return Setpoint(name, unit, low, high, start, rate, followers, None, self.where.key(path))

    def _rate(self, path: tuple[str, str], text: RateText, unit: str, largest: float) -> Rate | None:
        context, place = self.context, self.at(*path, "rate")
        per_second = context.per_second(text.rate, unit, place)
        if per_second is None:
            return None
        index, slowest = None, 1.0
        if text.times is not None:
            index = context.find("parameter", text.times, place)
            if index is None:
                return None
            parameter = context.parameters[index]
            slowest = parameter.low
            if parameter.unit:
                context.error(
                    "bad-unit", place, f"{text.times} has a unit", expected="a bare number, such as 1.0"
                )
        if per_second <= 0 or slowest <= 0:
            message = (
                "a rate must be above 0" if per_second <= 0 else f"{text.times} may be trimmed to 0 or below"
            )
            context.error(
                "out-of-span", place, message, expected="a step in every tick, for example 16 deg/s"
            )
            return None
        step = load_f32(per_second * self.tick_ms / 1000)
        if not context.fits(step, place):
            return None
        if not moves(f32(step * slowest), largest):
            context.error(
                "out-of-span",
                place,
                f"a step of {step * slowest:g} {unit} in a tick cannot move {largest:g} {unit} in binary32",
                expected="a faster rate, a longer tick or a smaller span",
            )
        return Rate(step, index, per_second)

    def _followers(
        self, path: tuple[str, str], block: dict[str, Quantity | None], unit: str, signals: tuple[Signal, ...]
    ) -> tuple[Follower, ...]:
        followers = []
        for i, (name, offset) in enumerate(block.items()):
            place = self.at(*path, "followed_by", name)
            if (*path, "followed_by", name) not in self.where.values:
                place = self.at(*path, "followed_by", i)
            index = self.context.find("signal", name, place)
            if index is None:
                self.context.told.add((*path, "followed_by"))
                continue
            if signals[index].unit != unit:
                message = f"{name} is in {signals[index].unit}, the setpoint in {unit}"
                self.context.error("bad-unit", place, message, expected="the same unit for both")
                self.context.told.add((*path, "followed_by"))
                continue
            value = self.context.number(offset, unit, place) if offset is not None else 0.0
            followers.append(Follower(index, load_f32(value or 0.0)))
        return tuple(followers)
