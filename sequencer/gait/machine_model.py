"""The machine file: what can be measured and commanded, and how it is driven."""

from typing import Annotated, Any

from pydantic import AllowInfNan, BaseModel, ConfigDict, Field, Strict, StrictBool, model_validator

from sequencer.gait.fields import Amount, Followers, Name, Names, RateField, Span, fail

Gain = Annotated[float, Strict(), AllowInfNan(False)]


class Block(BaseModel):
    """What all blocks of the files share: unknown keys are errors, nothing changes after loading."""

    model_config = ConfigDict(extra="forbid", frozen=True, validate_by_name=False, validate_by_alias=True)


class Repeatable(Block):
    """A block that may be written once for several names. `for_each` is gone before validation."""

    for_each: dict[str, list[Any]] | None = Field(
        None,
        description="Write this once per value; <name> stands for the value. Equal lists go side by side.",
    )
    about: str = Field("", description="A remark for people.")


class ScaleBlock(Block):
    """Two points of the line from raw counts to the signal's unit."""

    counts: Span = Field(description="Two raw readings.")
    reads: Span = Field(description="What the signal is at these two readings, in its unit.")


class BelieveBlock(Block):
    """The range outside which a sample is not believed, in raw counts or in the signal's unit."""

    counts: Span | None = Field(None, description="Believe raw readings in this range only.")
    reads: Span | None = Field(None, description="Believe values in this range only.")

    @model_validator(mode="after")
    def _one(self) -> "BelieveBlock":
        if (self.counts is None) == (self.reads is None):
            raise fail("missing-key", "believe needs a range", "either counts or reads")
        return self


class SignalBlock(Repeatable):
    """A measured number after zero and scale."""

    unit: str = Field(description="The unit of the value: deg, mm, N, V, deg/s ...")
    span: Span = Field(description="The range of values that can occur, [lowest, highest].")
    every: Amount | None = Field(None, description="The time between two samples.")
    noise: Amount | None = Field(None, description="The standard deviation of the noise.")
    zero: Amount | None = Field(None, description="What the sensor reads where it should read 0; subtracted.")
    scale: ScaleBlock | None = Field(None, description="How raw counts become the unit.")
    believe: BelieveBlock | None = Field(
        None, description="Samples outside are not believed (a broken wire)."
    )
    lost_after: Amount | None = Field(None, description="Silent for longer than this, the signal is lost.")


class RemoteBlock(Block):
    """A remote control that may fall silent."""

    carries: Names = Field(description="The events and switches that come over it.")
    every: Amount | None = Field(None, description="The time between two of its messages.")
    lost_after: Amount | None = Field(None, description="Silent for longer than this, the remote is lost.")


class SetpointBlock(Repeatable):
    """A number that the sequencer commands."""

    unit: str = Field(description="The unit of the setpoint.")
    span: Span = Field(description="The range that may be commanded; targets are clamped into it.")
    rate: RateField | None = Field(None, description="The largest change per time; without it, it jumps.")
    start: Amount = Field(description="Its value when the controller starts.")
    followed_by: Followers | None = Field(
        None, description="The signals that follow it, with stance offsets."
    )


class LoopBlock(Repeatable):
    """A feedback loop: checked here for names and units."""

    setpoint: list[Any] = Field(description="What it tries to reach: setpoints, or one quantity.")
    signal: Name
    kp: Gain = 0.0
    ki: Gain = 0.0
    kd: Gain = 0.0
    limit: Amount | None = None
    adds_to: dict[Name, Gain] | None = Field(
        None, description="Loops whose setpoint it adds to, with a gain."
    )
    output: Name | None = None


class OutputBlock(Repeatable):
    """What goes to a motor, or a pulse (a horn, a lamp) that a phase may give for one tick."""

    pulse: StrictBool = Field(
        False, description="True for something that a phase may switch on for one tick."
    )
    span: Span | None = None
    full_scale_at: Amount | None = None
    supply: Name | None = None
    least_supply: Amount | None = None


class MachineFile(Block):
    """A machine file."""

    machine: Name = Field(description="The machine's name.")
    about: str = ""
    tick: Amount = Field(description="The time between two control ticks, in whole milliseconds.")
    signals: dict[Name, SignalBlock] = Field(default_factory=dict)
    events: Names = Field(default_factory=list, description="Operator inputs that are true for one tick.")
    switches: Names = Field(default_factory=list, description="Operator inputs that are held.")
    remote: RemoteBlock | None = None
    setpoints: dict[Name, SetpointBlock] = Field(default_factory=dict)
    loops: dict[Name, LoopBlock] = Field(default_factory=dict)
    outputs: dict[Name, OutputBlock] = Field(default_factory=dict)
