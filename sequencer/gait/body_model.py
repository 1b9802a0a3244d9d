"""The body file: what a rehearsal in physics must know of a machine: links, joints, feet, drives, sensors.

Frames: x forward, y to the left, z up. A link's own origin is its joint. Angles: roll is positive when the
top leans to the right, pitch when it leans forward, yaw when it turns to the left.
"""

from typing import Annotated, Any, Literal

from pydantic import Field, PlainValidator, StrictBool, WithJsonSchema, model_validator

from sequencer.base.quantities import Quantity
from sequencer.gait.blocks import Block
from sequencer.gait.fields import Amount, Name, Span, fail, to_quantity

Triple = tuple[Quantity, Quantity, Quantity]


def to_triple(value: object) -> Triple:
    """Accept three lengths: forward, left, up."""
    if not isinstance(value, list) or len(value) != 3:
        expected = "[forward, left, up], such as [0 mm, 90 mm, 0 mm]"
        raise fail("wrong-type", "three lengths are needed here", expected)
    forward, left, up = (to_quantity(part) for part in value)
    return forward, left, up


_TRIPLE_SCHEMA = {"type": "array", "items": {"type": ["string", "number"]}, "minItems": 3, "maxItems": 3}
TripleField = Annotated[Triple, PlainValidator(to_triple), WithJsonSchema(_TRIPLE_SCHEMA)]
Direction = Literal["roll", "pitch", "yaw"]
Way = Literal["forward", "left", "up"]


class Repeated(Block):
    """A block that may be written once for several names. `for_each` is gone before validation."""

    for_each: dict[str, list[Any]] | None = Field(
        None, description="Write this once per value; <name> stands for the value."
    )
    about: str = Field("", description="A remark for people.")


class JointBlock(Block):
    """How a link hangs on another: it turns or it slides."""

    name: Name = Field(description="The joint's name.")
    turns: Direction | None = Field(None, description="roll, pitch or yaw.")
    slides: Way | None = Field(None, description="forward, left or up.")
    reversed: StrictBool = Field(
        False, description="Counted the other way: what it hangs on, seen from this link."
    )
    stands_at: Amount | None = Field(None, description="Where the joint stands when it is said to be at 0.")
    span: Span | None = Field(None, description="Its stops, counted from where it stands.")
    friction: Amount | None = Field(None, description="Friction in the joint itself, Nm or N.")

    @model_validator(mode="after")
    def _one(self) -> "JointBlock":
        if (self.turns is None) == (self.slides is None):
            raise fail("missing-key", "a joint turns or slides", "either turns: roll or slides: up")
        return self


class SoleBlock(Block):
    """A flat foot: a plate under the joint."""

    long: Amount = Field(description="From heel to toe.")
    wide: Amount = Field(description="From left to right.")
    under: Amount = Field(description="From the joint down to the floor.")


class LinkBlock(Repeated):
    """A stiff part. The first one is the trunk, which is free to move; each other one hangs on another."""

    on: Name | None = Field(None, description="The link that it hangs on.")
    at: TripleField | None = Field(None, description="Where on that; by default at its lower end.")
    joint: JointBlock | None = None
    mass: Amount
    box: TripleField | None = Field(None, description="A box: how long, wide and high.")
    centre: TripleField | None = Field(None, description="Where the box has its centre; by default at 0.")
    length: Amount | None = Field(None, description="A rod straight down from its joint.")
    sole: SoleBlock | None = Field(None, description="A flat foot.")
    ball: Amount | None = Field(None, description="A foot that is a ball around its joint: its radius.")

    @model_validator(mode="after")
    def _one_form(self) -> "LinkBlock":
        forms = [k for k in ("box", "length", "sole", "ball") if getattr(self, k) is not None]
        if len(forms) != 1:
            said = " and ".join(forms) if forms else "no form"
            raise fail("missing-key", f"this link has {said}", "one of box, length, sole, ball")
        if self.centre is not None and self.box is None:
            raise fail("missing-key", "centre belongs to a box", "box: [long, wide, high]")
        return self


class GivesBlock(Block):
    """How far a drive gives way under a load."""

    by: Amount = Field(description="So far, 0.4 deg or 1 mm,")
    under: Amount = Field(description="under so much, 10 Nm or 40 N.")


class DriveBlock(Repeated):
    """A motor with its gear, from an output (duty) or a setpoint (a servo with its own loop) to a joint."""

    joint: Name
    output: Name | None = Field(None, description="The output of the machine file that drives it.")
    setpoint: Name | None = Field(None, description="The setpoint that a servo goes to by itself.")
    speed: Amount = Field(description="Without load, at full duty.")
    at: Amount | None = Field(None, description="The supply at which it has this speed.")
    stalls_at: Amount = Field(description="The load at which it stands still at full duty.")
    lag: Amount | None = Field(None, description="How late its speed follows (time constant).")
    gives: GivesBlock
    damping: Amount | None = Field(None, description="Damping over stiffness, a time; by default 20 ms.")
    slack: Amount | None = Field(None, description="Play between the motor and the joint, in all.")

    @model_validator(mode="after")
    def _one_source(self) -> "DriveBlock":
        if (self.output is None) == (self.setpoint is None):
            raise fail("missing-key", "a drive has one master", "either output or setpoint")
        return self


class SenseBlock(Repeated):
    """What a signal of the machine file senses. Noise and sample period stand in the machine file."""

    tilt: Name | None = Field(None, description="The link whose tilt it tells.")
    about: Literal["roll", "pitch"] = Field("roll", description="Which tilt.")
    joint: Name | None = Field(None, description="The joint whose place it tells.")
    side: Literal["joint", "motor"] = Field("joint", description="Behind the slack or before it.")
    load: Name | None = Field(None, description="The foot whose load it tells.")
    steady: Amount | None = Field(None, description="A value that does not change.")

    @model_validator(mode="after")
    def _one_thing(self) -> "SenseBlock":
        given = [k for k in ("tilt", "joint", "load", "steady") if getattr(self, k) is not None]
        if len(given) != 1:
            said = " and ".join(given) if given else "nothing"
            raise fail("missing-key", f"this signal senses {said}", "one of tilt, joint, load, steady")
        return self


class SupplyBlock(Block):
    """The battery."""

    signal: Name | None = Field(None, description="The signal that measures it.")
    volts: Amount = Field(description="At the start.")
    falls: Amount | None = Field(None, description="How fast it sags, such as 0.1 V/min.")


class FloorBlock(Block):
    """What the machine stands on: level and hard."""

    friction: Amount = Field(description="The coefficient of friction between foot and floor.")


class FallenBlock(Block):
    """When the machine counts as fallen."""

    tilt: Amount = Field(description="The trunk leans further than this, to any side,")
    below: Amount = Field(description="or its origin is lower than this.")


class BodyFile(Block):
    """A body file."""

    body: Name = Field(description="The body's name.")
    about: str = ""
    floor: FloorBlock
    fallen: FallenBlock
    supply: SupplyBlock | None = None
    links: dict[Name, LinkBlock] = Field(min_length=1, description="The trunk first.")
    drives: dict[Name, DriveBlock] = Field(default_factory=dict)
    senses: dict[Name, SenseBlock] = Field(default_factory=dict, description="By the signal's name.")
