"""The machine file: what can be measured and commanded, and how it is driven."""

from typing import Annotated, Any, Literal

from pydantic import AllowInfNan, Field, Strict, StrictBool, model_validator

from sequencer.gait.blocks import Accepting, Block, Repeatable
from sequencer.gait.budget_model import BudgetBlock
from sequencer.gait.fields import (
    Amount,
    Followers,
    GainField,
    Name,
    Names,
    NumberField,
    RateField,
    Span,
    fail,
)
from sequencer.gait.wiring_model import WiringBlock

Gain = Annotated[float, Strict(), AllowInfNan(False)]

_RESOLUTION = "The size of a step with arithmetic: int16; by default its largest number in 16,000 steps."


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
    zero: NumberField | None = Field(
        None, description="What the sensor reads where it should read 0; subtracted. Or a parameter."
    )
    scale: ScaleBlock | None = Field(None, description="How raw counts become the unit.")
    believe: BelieveBlock | None = Field(
        None, description="Samples outside are not believed (a broken wire)."
    )
    lost_after: Amount | None = Field(None, description="Silent for longer than this, the signal is lost.")
    resolution: Amount | None = Field(None, description=_RESOLUTION)


class ParameterBlock(Repeatable):
    """A number that may be trimmed at the bench."""

    unit: str = Field("", description="Its unit; empty for a bare number.")
    value: Amount
    span: Span = Field(description="The range within which it may be trimmed.")


class RemoteBlock(Accepting):
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
    resolution: Amount | None = Field(None, description=_RESOLUTION)


class LoopBlock(Repeatable):
    """A feedback loop (PID): it drives an output, or adds a correction to the reference of other loops."""

    setpoint: list[Any] = Field(
        min_length=1, description="What it tries to reach: setpoints and quantities, summed."
    )
    signal: Name = Field(description="The signal that it compares with that.")
    kp: GainField = Field(0.0, description="What it gives per unit of error; or a parameter.")
    ki: GainField = Field(0.0, description="What it adds per unit of error and second; or a parameter.")
    kd: GainField = Field(
        0.0, description="What it gives against the signal's change, per unit and second; or a parameter."
    )
    filter: Amount | None = Field(None, description="Smoothing time of the derivative; by default none.")
    tracking: Amount | None = Field(
        None, description="How fast the integral comes back from a limit; by default kp / ki, else 1 s."
    )
    limit: NumberField | None = Field(
        None,
        description="The most it gives, either way, or a parameter; without it an output's span holds.",
    )
    integral_limit: Amount | None = Field(None, description="The most that its integral holds, either way.")
    dead_band: Amount | None = Field(None, description="Errors up to this size count as none.")
    every: Amount | None = Field(None, description="How often it runs, a multiple of the tick.")
    start: Literal["bumpless", "cold"] = Field(
        "cold", description="bumpless: the integral starts where the output goes on without a jump."
    )
    fade: Amount | None = Field(None, description="The time over which it gains and loses its authority.")
    bleed: Amount | None = Field(
        None, description="How fast its correction goes away while its signal is lost; default: limit in 1 s."
    )
    adds_to: dict[Name, Gain] | None = Field(
        None, min_length=1, description="Loops whose reference it adds to, with a gain."
    )
    output: Name | None = Field(None, description="The output that it drives.")


class StallBlock(Block):
    """When a motor counts as stalled: driven hard, and yet nothing moves."""

    above: Amount = Field(description="An output beyond this, either way, should move something.")
    signal: Name = Field(description="What shows that it moves.")
    moves: Amount = Field(description="A change of the signal that counts as moving.")
    for_: Amount = Field(alias="for", description="So long without moving, the output is switched off.")


class OutputBlock(Repeatable):
    """What goes to a motor, or a pulse (a horn, a lamp) that a phase may give for one tick."""

    pulse: StrictBool = Field(
        False, description="True for something that a phase may switch on for one tick."
    )
    span: Span | None = Field(None, description="The range of the output; by default [-1, 1], full duty.")
    cap: NumberField | None = Field(
        None, description="The most it gives, either way, within its span; or a parameter."
    )
    slew: Amount | None = Field(None, description="The largest change per time, such as 4 /s.")
    full_scale_at: Amount | None = Field(None, description="The supply at which the span is full scale.")
    supply: Name | None = Field(None, description="The signal that measures the supply.")
    least_supply: Amount | None = Field(
        None, description="Under this supply all outputs are cut until the controller is reset."
    )
    under_for: Amount | None = Field(None, description="So long under least_supply; by default 500 ms.")
    smooth: Amount | None = Field(None, description="Smoothing time of the supply; by default 500 ms.")
    stall: StallBlock | None = None
    holds_unpowered: StrictBool | None = Field(
        None, description="Whether the joint stays where it is without power (a lead screw does)."
    )

    @model_validator(mode="after")
    def _is_one_thing(self) -> "OutputBlock":
        stray = sorted(k.rstrip("_") for k in self.model_fields_set - {"pulse", "about", "accept"})
        if self.pulse and stray:
            raise fail("bad-drive", f"{stray[0]} cannot stand beside pulse", "an output or a pulse")
        return self


class MachineFile(Accepting):
    """A machine file."""

    machine: Name = Field(description="The machine's name.")
    about: str = ""
    tick: Amount = Field(description="The time between two control ticks, in whole milliseconds.")
    arithmetic: Literal["binary32", "int16"] = Field(
        "binary32", description="The numbers of the sequencer: floats, or whole steps of a resolution."
    )
    signals: dict[Name, SignalBlock] = Field(default_factory=dict)
    events: Names = Field(default_factory=list, description="Operator inputs that are true for one tick.")
    switches: Names = Field(default_factory=list, description="Operator inputs that are held.")
    remote: RemoteBlock | None = None
    helping: StrictBool = Field(
        False, description="Whether the machine may be helped by hand and walk in single steps."
    )
    parameters: dict[Name, ParameterBlock] = Field(
        default_factory=dict, description="Numbers of the machine that may be trimmed: zeros, gains, limits."
    )
    setpoints: dict[Name, SetpointBlock] = Field(default_factory=dict)
    loops: dict[Name, LoopBlock] = Field(
        default_factory=dict, description="Feedback loops; where one acts, the gait may say."
    )
    outputs: dict[Name, OutputBlock] = Field(default_factory=dict)
    wiring: WiringBlock | None = Field(None, description="What is connected where; for the board program.")
    budget: BudgetBlock | None = Field(None, description="What the program may take of a controller.")
