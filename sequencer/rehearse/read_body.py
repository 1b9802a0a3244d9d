"""From a body file to tables: units, names, and what cannot be."""

from pathlib import Path as FilePath
from typing import Literal

from sequencer.base.errors import FileErrors
from sequencer.base.quantities import UnitError, dimension, factor
from sequencer.gait.body_load import LoadedBody, load_body_file
from sequencer.gait.body_model import BodyFile, DriveBlock, JointBlock, LinkBlock, SenseBlock
from sequencer.gait.nodes import Path
from sequencer.plan.tables import Plan
from sequencer.rehearse.body import Body, Drive, Joint, Link, Sense, Vector
from sequencer.rehearse.body_fields import Fields

_AXES: dict[str, Vector] = {
    "roll": (1, 0, 0),
    "pitch": (0, 1, 0),
    "yaw": (0, 0, 1),
    "forward": (1, 0, 0),
    "left": (0, 1, 0),
    "up": (0, 0, 1),
}
_DAMPING_S = 0.02  # of a drive whose file does not say
_NOWHERE: Vector = (0.0, 0.0, 0.0)
Form = Literal["box", "rod", "sole", "ball"]


def load_body(path: str | FilePath, plan: Plan) -> Body:
    """Read the body of the plan's machine. Raises FileErrors with every error of the file."""
    loaded = load_body_file(path)
    if loaded.model is None:
        raise FileErrors(list(loaded.findings))
    builder = _Builder(loaded, plan)
    body = builder.build(loaded.model)
    if builder.fields.findings:
        raise FileErrors(builder.fields.findings)
    return body


class _Builder:
    """Builds the tables; notes errors and goes on with what it has."""

    def __init__(self, loaded: LoadedBody, plan: Plan) -> None:
        self.fields = Fields(loaded)
        self._source = loaded.name
        self._plan = plan
        self._links: list[Link] = []
        self._joints: dict[str, int] = {}  # the link of each joint
        self._drives: list[Drive] = []
        self._has_supply = loaded.model is not None and loaded.model.supply is not None

    def build(self, model: BodyFile) -> Body:
        """Build the body."""
        fields = self.fields
        for name, link_block in model.links.items():
            self._links.append(self._link(name, link_block))
        if not any(link.is_foot for link in self._links) and not fields.findings:
            fields.error("missing-key", ("links",), "no link is a foot", "a link with sole: or ball:")
        for name, drive_block in model.drives.items():
            self._drive(name, drive_block)
        senses = [self._sense(name, block, model) for name, block in model.senses.items()]
        senses.append(self._supply(model))
        found = tuple(sense for sense in senses if sense is not None)
        self._refuse_unsensed(found)
        supply = model.supply
        return Body(
            name=model.body,
            source=self._source,
            links=tuple(self._links),
            drives=tuple(self._drives),
            senses=found,
            friction=fields.above(model.floor.friction, "", "floor", "friction"),
            fallen_tilt=fields.above(model.fallen.tilt, "rad", "fallen", "tilt"),
            fallen_below=fields.above(model.fallen.below, "m", "fallen", "below"),
            volts=None if supply is None else fields.above(supply.volts, "V", "supply", "volts"),
            falls=0.0 if supply is None else fields.number(supply.falls, "V/s", "supply", "falls"),
        )

    # -- links ---------------------------------------------------------------------------------------------

    def _link(self, name: str, block: LinkBlock) -> Link:
        path = ("links", name)
        on = self._on(block, path)
        joint = None
        if on is not None and block.joint is not None:
            joint = self._joint(block.joint, (*path, "joint"))
            if block.joint.name in self._joints:
                self.fields.links_told = True
                message = f"{block.joint.name} is the name of a joint already"
                self.fields.error("duplicate-name", (*path, "joint", "name"), message, "one name for each")
            self._joints.setdefault(block.joint.name, len(self._links))
        form, size = self._form(block, path)
        centre = block.centre
        return Link(
            name=name,
            on=on,
            at=self._end_of(on) if block.at is None else self.fields.triple(block.at, *path, "at"),
            joint=joint,
            mass=self.fields.above(block.mass, "kg", *path, "mass"),
            form=form,
            size=size,
            centre=_NOWHERE if centre is None else self.fields.triple(centre, *path, "centre"),
        )

    def _on(self, block: LinkBlock, path: tuple[str, str]) -> int | None:
        """Give the link that one hangs on, None for the trunk."""
        if not self._links:
            for key in ("on", "at", "joint"):
                if getattr(block, key) is not None and not self.fields.links_told:
                    message = f"the first link is the trunk, which is free: {key} has no sense here"
                    self.fields.error("unknown-key", (*path, key), message, "the trunk as the first link")
            return None
        missing = [key for key in ("on", "joint") if getattr(block, key) is None]
        if missing and not any(self.fields.was_cut(*path, key) for key in missing):
            self.fields.links_told = True
            message = f"{path[-1]} lacks {' and '.join(missing)}"
            expected = "on: LINK and joint: {name: ..., turns: roll}"
            self.fields.error("missing-key", path, message, expected)
        if block.on is None:
            return 0
        known = [link.name for link in self._links]
        return self.fields.named(block.on, known, "link", (*path, "on")) or 0

    def _end_of(self, on: int | None) -> Vector:
        """Give the place at which a link hangs that does not say where: the lower end of a rod."""
        if on is None or self._links[on].form != "rod":
            return _NOWHERE
        return 0.0, 0.0, -self._links[on].size[2]

    def _joint(self, block: JointBlock, path: Path) -> Joint:
        turns = block.turns is not None
        unit, fields = "rad" if turns else "m", self.fields
        low = high = None
        if block.span is not None:
            low, high = (fields.number(q, unit, *path, "span", i) for i, q in enumerate(block.span))
            if not low <= 0 <= high or low == high:
                message = "where the joint stands (0) is not between its stops"
                expected = "[lowest, highest], counted from where it stands"
                fields.error("out-of-span", (*path, "span"), message, expected)
        return Joint(
            name=block.name,
            turns=turns,
            axis=_AXES[block.turns or block.slides or "roll"],
            sign=-1.0 if block.reversed else 1.0,
            stands_at=fields.number(block.stands_at, unit, *path, "stands_at"),
            low=low,
            high=high,
            friction=fields.not_below(block.friction, "Nm" if turns else "N", *path, "friction"),
        )

    def _form(self, block: LinkBlock, path: Path) -> tuple[Form, Vector]:
        fields = self.fields
        if block.box is not None:
            long, wide, high = fields.sizes(block.box, *path, "box")
            return "box", (long / 2, wide / 2, high / 2)
        if block.sole is not None:
            sole, at = block.sole, (*path, "sole")
            half_long = fields.above(sole.long, "m", *at, "long") / 2
            half_wide = fields.above(sole.wide, "m", *at, "wide") / 2
            return "sole", (half_long, half_wide, fields.above(sole.under, "m", *at, "under"))
        if block.ball is not None:
            return "ball", (fields.above(block.ball, "m", *path, "ball"), 0.0, 0.0)
        length = 1.0 if block.length is None else fields.above(block.length, "m", *path, "length")
        return "rod", (0.0, 0.0, length)

    # -- drives --------------------------------------------------------------------------------------------

    def _drive(self, name: str, block: DriveBlock) -> None:
        path = ("drives", name)
        output, setpoint, scale = self._master(block, path)
        joint = self.fields.named(block.joint, self._joints, "joint", (*path, "joint"))
        if joint is None:
            return
        link = self._joints[block.joint]
        turns = (self._links[link].joint or _NO_JOINT).turns
        unit, load = ("rad", "Nm") if turns else ("m", "N")
        if any(drive.joint == link for drive in self._drives):
            message = f"{block.joint} has a drive already"
            self.fields.error("two-owners", (*path, "joint"), message, "one drive for each joint")
        if block.at is not None and not self._has_supply:
            self.fields.error("missing-key", (*path, "at"), "there is no supply", "supply: {volts: 12 V}")
        gives = (*path, "gives")
        stiffness = self.fields.above(block.gives.under, load, *gives, "under") / self.fields.above(
            block.gives.by, unit, *gives, "by"
        )
        damping = self.fields.not_below(block.damping, "s", *path, "damping")
        holds = None if output is None else self._plan.outputs[output].holds_unpowered
        self._drives.append(
            Drive(
                name=name,
                joint=link,
                output=output,
                setpoint=setpoint,
                setpoint_scale=scale,
                speed=self.fields.above(block.speed, f"{unit}/s", *path, "speed"),
                at=None if block.at is None else self.fields.above(block.at, "V", *path, "at"),
                stall=self.fields.above(block.stalls_at, load, *path, "stalls_at"),
                lag=self.fields.not_below(block.lag, "s", *path, "lag"),
                stiffness=stiffness,
                damping=stiffness * (_DAMPING_S if block.damping is None else damping),
                slack=self.fields.not_below(block.slack, unit, *path, "slack"),
                self_locking=holds is not False,
            )
        )

    def _master(self, block: DriveBlock, path: tuple[str, str]) -> tuple[int | None, int | None, float]:
        """Give the output or the setpoint that a drive obeys, and the setpoint's unit in SI."""
        if block.output is not None:
            names = [output.name for output in self._plan.outputs]
            return self.fields.named(block.output, names, "output", (*path, "output")), None, 1.0
        names = [setpoint.name for setpoint in self._plan.setpoints]
        setpoint = self.fields.named(block.setpoint or "", names, "setpoint", (*path, "setpoint"))
        if setpoint is None or block.joint not in self._joints:
            return None, setpoint, 1.0
        joint = self._links[self._joints[block.joint]].joint or _NO_JOINT
        unit = self._plan.setpoints[setpoint].unit
        scale = self._scale(block.setpoint or "", unit, "rad" if joint.turns else "m", (*path, "setpoint"))
        return None, setpoint, 1 / scale

    # -- senses --------------------------------------------------------------------------------------------

    def _sense(self, name: str, block: SenseBlock, model: BodyFile) -> Sense | None:
        path = ("senses", name)
        names = [signal.name for signal in self._plan.signals]
        signal = self.fields.named(name, names, "signal", path, on_key=True)
        if signal is None:
            return None
        if model.supply is not None and model.supply.signal == name:
            message = f"{name} measures the supply already"
            self.fields.error("two-owners", path, message, "either supply or senses")
        unit = self._plan.signals[signal].unit
        if block.steady is not None:
            return Sense(signal, "steady", 0, self.fields.number(block.steady, unit, *path, "steady"), 1.0)
        if block.joint is not None:
            return self._joint_sense(signal, block, path, unit)
        kind: Literal["load", "tilt"] = "tilt" if block.load is None else "load"
        named = block.load or block.tilt or ""
        what = self.fields.named(named, [link.name for link in self._links], "link", (*path, kind))
        if what is None:
            return None
        if kind == "tilt":
            return Sense(signal, block.about, what, 0.0, self._scale(name, unit, "rad", path))
        if not self._links[what].is_foot:
            self.fields.error("wrong-type", (*path, kind), f"{named} is no foot", "a foot: sole or ball")
        return Sense(signal, "load", what, 0.0, self._scale(name, unit, "N", path))

    def _joint_sense(self, signal: int, block: SenseBlock, path: tuple[str, str], unit: str) -> Sense | None:
        joint = block.joint or ""
        if self.fields.named(joint, self._joints, "joint", (*path, "joint")) is None:
            return None
        link = self._joints[joint]
        turns = (self._links[link].joint or _NO_JOINT).turns
        scale = self._scale(path[-1], unit, "rad" if turns else "m", path)
        if block.side == "joint":
            return Sense(signal, "joint", link, 0.0, scale)
        drive = next((i for i, drive in enumerate(self._drives) if drive.joint == link), None)
        if drive is None:
            self.fields.error("unknown-name", (*path, "side"), f"{joint} has no motor", "side: joint")
            return None
        return Sense(signal, "motor", drive, 0.0, scale)

    def _supply(self, model: BodyFile) -> Sense | None:
        if model.supply is None or model.supply.signal is None:
            return None
        path = ("supply", "signal")
        names = [signal.name for signal in self._plan.signals]
        signal = self.fields.named(model.supply.signal, names, "signal", path)
        if signal is None:
            return None
        name, unit = self._plan.signals[signal].name, self._plan.signals[signal].unit
        return Sense(signal, "supply", 0, 0.0, self._scale(name, unit, "V", path))

    def _scale(self, name: str, unit: str, si: str, path: Path) -> float:
        """Give what turns a number of an SI unit into one of a signal's or setpoint's unit."""
        try:
            return factor(si, unit)
        except UnitError:
            message = f"{name} is {f'in {unit}' if unit else 'a bare number'}, and what is named here in {si}"
            self.fields.error("bad-unit", path, message, f"what is measured as {dimension(unit)}")
            return 1.0

    def _refuse_unsensed(self, senses: tuple[Sense, ...]) -> None:
        sensed = {sense.signal for sense in senses}
        for i, signal in enumerate(self._plan.signals):
            if i in sensed or self.fields.was_cut("senses", signal.name) or self.fields.findings:
                continue
            message = f"nothing says what {signal.name} senses"
            expected = f"senses: {{{signal.name}: ...}} with tilt, joint, load or steady"
            self.fields.error("missing-key", ("senses",), message, expected)


_NO_JOINT = Joint("", True, (1.0, 0.0, 0.0), 1.0, 0.0, None, None, 0.0)
