"""A body in physics as something that answers to a walk, tick by tick."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from sequencer.base.errors import MisuseError
from sequencer.base.quantities import UnitError, convert, parse
from sequencer.history.blocks import HistoryBlock
from sequencer.plan.tables import Plan
from sequencer.rehearse.body import Body
from sequencer.rehearse.drives import Drives
from sequencer.rehearse.engine import engine, unsound
from sequencer.rehearse.model import Model, build_model, settle, steps_in
from sequencer.rehearse.sensing import Senses, SensorFaults
from sequencer.rehearse.stance import Stance
from sequencer.trace.blocks import TickBlock
from sequencer.trace.layout import nearest
from sequencer.trace.operator import Operator


@dataclass(frozen=True, slots=True)
class RehearsalOptions:
    """What is pressed, and what is wrong with the machine.

    seed: of the sensors' noise. noise: whether there is any. presses, switches_off, helped: as `Operator`.
    offset: by signal, "2 deg"; a zero that is wrong. slack: by joint, "2 deg"; instead of the body file's.
    dies_at_ms: by signal, or ``remote``. friction: of the floor. volts: of the supply at the start.
    """

    seed: int = 0
    noise: bool = True
    presses: Sequence[tuple[int, str]] | None = None
    switches_off: frozenset[str] | None = None
    helped: bool = False
    offset: Mapping[str, str] = field(default_factory=dict)
    slack: Mapping[str, str] = field(default_factory=dict)
    dies_at_ms: Mapping[str, int] = field(default_factory=dict)
    friction: float | None = None
    volts: float | None = None


class BodyPlant:
    """Answers to each tick's commands with the inputs of the next one.

    Raises ToolError without the engine, MisuseError for options that name nothing or make no sense, and for a
    body whose numbers run away.
    """

    def __init__(self, plan: Plan, body: Body, options: RehearsalOptions) -> None:
        self.body = body = faulty(body, plan, options)
        self._mj = engine()
        self._tick_s = tick_s = plan.tick_ms / 1000
        self._steps = steps_in(tick_s)
        self._model = build_model(body, tick_s / self._steps)
        settle(self._model)
        self.stance = Stance(body, self._model)
        self._drives = Drives(body, self._model, tick_s)
        faults = _sensor_faults(plan, options)
        self._senses = Senses(body, plan, self.stance, options.seed, faults, noise=options.noise)
        self._operator = Operator(
            plan,
            options.presses,
            options.switches_off,
            helped=options.helped,
            remote_dies_ms=options.dies_at_ms.get("remote"),
        )
        self._volts = body.volts
        self._tick_ms = plan.tick_ms
        self._ticks = 0

    @property
    def model(self) -> Model:
        """The engine's model and state."""
        return self._model

    def inputs(self) -> TickBlock:
        """Make the inputs of the next tick as a block of one tick."""
        now_ms = self._ticks * self._tick_ms
        raw, fresh = self._senses.sample(now_ms * 1000, self._volts)
        events, control = self._operator.at(now_ms * 1000)
        return TickBlock(
            now=np.array([now_ms & 0xFFFF_FFFF], np.uint32),
            raw=raw,
            fresh=fresh,
            events=np.array([events], np.uint32),
            switches=np.array([self._operator.switches], np.uint32),
            control=np.array([control], np.uint8),
            skipped=np.zeros(raw.shape[1], np.int64),
        )

    def obey(self, record: HistoryBlock) -> None:
        """Take what the tick's record commands, and let physics go on to the next tick."""
        on = bool(record.drives[-1])
        self._drives.command(record.output[-1], record.setpoint[-1], self._volts, on=on)
        self._mj.mj_step(self._model.model, self._model.data, self._steps)
        if unsound(self._model.data):
            self._refuse()
        self._mj.mj_forward(self._model.model, self._model.data)
        self.stance.look()
        self._ticks += 1
        if self._volts is not None:
            self._volts = max(0.0, self._volts - self.body.falls * self._tick_s)

    def _refuse(self) -> None:
        ms = self._ticks * self._tick_ms
        raise MisuseError(
            f"the physics of {self.body.source} cannot be computed: its numbers ran away at {ms / 1000:g} s",
            hint="a drive that is far too stiff (gives), or has far too much damping, for what it moves",
        )


def faulty(body: Body, plan: Plan, options: RehearsalOptions) -> Body:
    """Give the body with what is wrong with it. Raises MisuseError."""
    if options.friction is not None:
        if not options.friction > 0:
            raise MisuseError(f"friction is {options.friction:g}", hint="a coefficient above 0, such as 0.2")
        body = replace(body, friction=options.friction)
    if options.volts is not None:
        if body.volts is None:
            raise MisuseError(f"{body.name} has no supply", hint="write supply: {volts: 12 V} in its file")
        body = replace(body, volts=options.volts)
    drives = list(body.drives)
    for name, amount in options.slack.items():
        known = [(body.links[drive.joint].joint, i) for i, drive in enumerate(drives)]
        found = [(joint, i) for joint, i in known if joint is not None and joint.name == name]
        if not found:
            names = [joint.name for joint, _ in known if joint is not None]
            raise MisuseError(f"slack names {name}, which is no driven joint", hint=nearest(name, names))
        joint, number = found[0]
        slack = _amount("slack", name, amount, "rad" if joint.turns else "m")
        if slack < 0:
            raise MisuseError(f"slack of {name} is negative", hint="0 or more")
        drives[number] = replace(drives[number], slack=slack)
    return replace(body, drives=tuple(drives))


def _amount(fault: str, name: str, text: str, unit: str) -> float:
    try:
        return convert(parse(text), unit)
    except UnitError as error:
        raise MisuseError(
            f"{fault} of {name}: {error}", hint=f"give it in {unit}, such as 2 {unit}"
        ) from error


def _sensor_faults(plan: Plan, options: RehearsalOptions) -> SensorFaults:
    names = [signal.name for signal in plan.signals]
    for fault, given in (("offset", options.offset), ("dies", options.dies_at_ms)):
        for name in given:
            if name not in names and not (fault == "dies" and name == "remote" and plan.remote):
                raise MisuseError(f"{fault} names {name}, which is no signal", hint=nearest(name, names))
    offset = {
        names.index(name): _amount("offset", name, text, plan.signals[names.index(name)].unit)
        for name, text in options.offset.items()
    }
    dies = {names.index(name): at for name, at in options.dies_at_ms.items() if name in names}
    return SensorFaults(offset, dies)
