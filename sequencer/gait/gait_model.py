"""The gait file: the walk as phases and guards."""

from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field, StrictBool, StrictStr, WithJsonSchema, model_validator

from sequencer.gait.blocks import Accepting, Block, Repeatable
from sequencer.gait.fields import (
    Amount,
    HoldField,
    LevelField,
    LevelPair,
    Name,
    Names,
    PhaseSetField,
    Release,
    fail,
    is_name,
)
from sequencer.gait.machine_model import MachineFile, ParameterBlock

KINDS = (
    "all",
    "any",
    "not",
    "event",
    "switch",
    "lost",
    "counter",
    "signal",
    "sequence",
    "reached",
    "at_target",
)
COMPARISONS = ("at_least", "at_most", "above", "below", "within", "outside")
_NAMING = ("event", "switch", "lost", "counter", "signal", "sequence", "reached", "at_target")
_FOR_KIND = {
    "sequence": {"in"},
    "reached": {"short_by", "release"},
    "at_target": {"tolerance", "release"},
    "signal": {*COMPARISONS, "release"},
    "counter": {*COMPARISONS, "release"},
}


class GuardBlock(Block):
    """A condition: exactly one of the kinds, with what belongs to it."""

    all: list["GuardBlock"] | None = Field(None, min_length=1, description="True when all of these are.")
    any: list["GuardBlock"] | None = Field(None, min_length=1, description="True when one of these is.")
    not_: "GuardBlock | None" = Field(None, alias="not", description="True when this is false.")
    event: Name | None = Field(None, description="True in the tick in which the event comes.")
    switch: Name | None = Field(None, description="True while the switch is on.")
    lost: Name | None = Field(None, description="True while the signal, or the remote, is lost.")
    counter: Name | None = Field(None, description="Compare a counter.")
    signal: Name | None = Field(None, description="Compare a signal.")
    sequence: Name | None = Field(None, description="Look at another sequence.")
    in_: Names | None = Field(None, alias="in", description="The phases in which that sequence may be.")
    reached: Name | None = Field(None, description="Followers have come up to the target, or gone past it.")
    short_by: LevelField | None = Field(None, description="How far short still counts as reached.")
    at_target: Name | None = Field(None, description="Followers are within tolerance on both sides.")
    tolerance: LevelField | None = None
    at_least: LevelField | None = None
    at_most: LevelField | None = None
    above: LevelField | None = None
    below: LevelField | None = None
    within: LevelPair | None = None
    outside: LevelPair | None = None
    release: Release | None = Field(None, description="Once true, true until past this threshold.")

    @property
    def kind(self) -> str:
        """Which of KINDS it is."""
        return next(k for k in KINDS if getattr(self, "not_" if k == "not" else k) is not None)

    @property
    def comparison(self) -> str:
        """Which of COMPARISONS it makes; only for signals and counters."""
        return next(c for c in COMPARISONS if getattr(self, c) is not None)

    @model_validator(mode="after")
    def _one_kind(self) -> "GuardBlock":
        if isinstance(self, BrokenGuard):
            return self
        given = {f.rstrip("_") for f in self.model_fields_set if getattr(self, f) is not None}
        kinds = [k for k in KINDS if k in given]
        if len(kinds) != 1:
            said = " and ".join(kinds) if kinds else "none"
            raise fail("bad-guard", f"a guard is one thing, here it is {said}", f"one of: {', '.join(KINDS)}")
        kind = kinds[0]
        stray = given - {kind} - _FOR_KIND.get(kind, set())
        if stray:
            allowed = ", ".join(sorted(_FOR_KIND.get(kind, set()))) or "nothing"
            raise fail("bad-guard", f"{', '.join(sorted(stray))} cannot stand beside {kind}", allowed)
        needed = {"sequence": ["in"], "reached": ["short_by"], "at_target": ["tolerance"]}.get(kind, [])
        compared = [c for c in COMPARISONS if c in given]
        if kind in {"signal", "counter"} and len(compared) != 1:
            said = f", here are {' and '.join(compared)}" if compared else ""
            expected = f"one of: {', '.join(COMPARISONS)}"
            raise fail("bad-guard", f"a {kind} needs one comparison{said}", expected)
        for key in needed:
            if key not in given or (key == "in" and not self.in_):
                raise fail("missing-key", f"{kind} needs {key}", f"{kind}: ..., {key}: ...")
        return self

    @property
    def names(self) -> dict[str, str]:
        """The names that it looks at, by kind."""
        return {kind: name for kind in _NAMING if (name := getattr(self, kind)) is not None}

    @property
    def parameters(self) -> list[str]:
        """The parameters in its thresholds."""
        single = (self.short_by, self.tolerance, self.at_least, self.at_most, self.above, self.below)
        levels = [*single, *(self.within or ()), *(self.outside or ()), *(self.release or ())]
        return [level.parameter for level in levels if level is not None and level.parameter is not None]

    @staticmethod
    def stand_in(data: object) -> "BrokenGuard":
        """Make what stands for a guard that is broken: its names can still be judged."""
        sound: dict[str, Any] = {}
        for kind in _NAMING if isinstance(data, dict) else ():
            name = data.get(kind) if isinstance(data, dict) else None
            if isinstance(name, str) and is_name(name):
                sound[kind] = name
        return BrokenGuard.model_construct(**sound)


class BrokenGuard(GuardBlock):
    """A guard whose error has been told already."""

    @property
    def kind(self) -> str:
        """Not one of KINDS."""
        return "broken"


class LeaveBlock(Repeatable):
    """A way out of a phase."""

    to: Name = Field(description="The phase to go to.")
    when: GuardBlock = Field(description="The guard.")
    hold: HoldField | None = Field(None, description="How long the guard must stay true.")


class TimeoutBlock(Block):
    """A fault: so long in the phase, go there."""

    after: Amount
    to: Name

    @property
    def never(self) -> bool:
        """Whether the phase may wait for ever."""
        return False


class NeverBlock(TimeoutBlock):
    """``timeout: never``."""

    @property
    def never(self) -> bool:
        """It may."""
        return True


_NOTHING: dict[str, Any] = {}


def _never(value: Any) -> Any:
    return NeverBlock.model_construct(**_NOTHING) if value == "never" else value


_TIMEOUT_SCHEMA = {
    "anyOf": [
        {"const": "never", "description": "Waits as long as it takes; say why under because."},
        {
            "type": "object",
            "properties": {"after": {"type": "string"}, "to": {"type": "string"}},
            "required": ["after", "to"],
            "additionalProperties": False,
        },
    ]
}
TimeoutField = Annotated[TimeoutBlock, BeforeValidator(_never), WithJsonSchema(_TIMEOUT_SCHEMA)]


def _category(value: Any) -> Any:
    if not isinstance(value, int) or isinstance(value, bool) or value not in {0, 1, 2}:
        raise fail("wrong-type", "stop needs a stop category", "0, 1 or 2 (IEC 60204-1)")
    return value


class PhaseBlock(Repeatable):
    """One named step of the walk."""

    rest: StrictBool = Field(False, description="The machine may stand here as long as it likes.")
    stop: Annotated[Literal[0, 1, 2], BeforeValidator(_category)] | None = Field(
        None,
        description="A stop phase; IEC 60204-1 category: 0 drives off at once, 1 after a stop, 2 on.",
    )
    set: dict[Name, LevelField] = Field(default_factory=dict, description="New targets on entry.")
    keep: Names = Field(default_factory=list, description="Setpoints whose leftover target is meant.")
    count: Names = Field(default_factory=list, description="Counters that rise by one on entry.")
    reset: Names = Field(default_factory=list, description="Counters that go to 0 on entry.")
    pulse: Names = Field(default_factory=list, description="Pulses given in the entry tick.")
    leave: list[LeaveBlock] = Field(default_factory=list, description="Ways out; the first true one wins.")
    timeout: TimeoutField | None = Field(None, description="A fault after so long, or never.")
    because: str = Field("", description="Why there is no timeout.")

    @model_validator(mode="after")
    def _sense(self) -> "PhaseBlock":
        if self.rest and self.stop is not None:
            raise fail("bad-phase", "a phase is either rest or stop", "one of the two")
        if both := sorted({*self.keep} & {*self.set}):
            said = f"{both[0]} stands under keep and under set"
            raise fail("bad-phase", said, "one of the two: keep says that the target before is meant")
        if self.timeout and self.timeout.never and not self.because.strip():
            raise fail("missing-key", "timeout: never needs a because", "because: why waiting is safe here")
        return self


class SequenceBlock(Repeatable):
    """A chain of phases, of which one is active."""

    phases: dict[Name, PhaseBlock] = Field(min_length=1)


class AnywhereBlock(Repeatable):
    """A guard that is watched all the time."""

    to: Name
    when: GuardBlock
    hold: HoldField | None = None


class RuleBlock(Repeatable):
    """What must hold at every tick."""

    name: StrictStr = Field(description="What it says, in words.")
    while_: GuardBlock | None = Field(None, alias="while", description="Only judged while this is true.")
    must: GuardBlock = Field(description="What must be true then.")
    hold: HoldField | None = Field(None, description="Broken only after so long.")
    to: Name | None = Field(None, description="The phase to go to when it is broken.")


class MirrorBlock(Block):
    """The other side of the walk, made from this one."""

    swap: dict[str, str] = Field(description="Words to swap in names, such as left: right.")
    negate: Names = Field(default_factory=list, description="Signals and setpoints that change their sign.")
    phases: dict[Name, Name] = Field(description="Each phase and the name of its mirror image.")


class LoopUseBlock(Repeatable):
    """What this walk says of a loop of its machine."""

    acts_in: PhaseSetField = Field(
        description="The phases in which the loop acts; with several sequences {SEQUENCE: [PHASES]}."
    )


class DefaultsBlock(Accepting):
    """What phases have unless they say otherwise; rest and stop phases take no default timeout."""

    timeout: TimeoutField | None = None

    @model_validator(mode="after")
    def _ends(self) -> Self:
        if self.timeout and self.timeout.never:
            fix = "write timeout: never, with because, at each phase that may wait"
            raise fail("missing-key", "a default timeout must come some time", "{after: 5 s, to: safe}", fix)
        return self


class PartBlock(Block):
    """A named piece of a walk; its phases are judged where it is used."""

    takes: Names = Field(default_factory=list, description="The names that a use gives values to.")
    phases: dict[str, Any] = Field(default_factory=dict)


class UseBlock(Block):
    """A use of a part, in place of a phase."""

    use: str = Field(description="The part.")
    with_: dict[str, str] = Field(default_factory=dict, alias="with")
    then: str = Field("", description="The phase that follows the part.")


def _file_name(value: Any) -> Any:
    if not isinstance(value, str):
        raise fail("wrong-type", "machine needs a file name", "machine: stork.machine.yaml")
    return value


class GaitFile(Accepting):
    """A gait file."""

    gait: Name = Field(description="The walk's name; the generated files are named after it.")
    about: str = ""
    machine: Annotated[str | MachineFile, BeforeValidator(_file_name)] = Field(
        description="The machine file, or the machine written out here."
    )
    parameters: dict[Name, ParameterBlock] = Field(default_factory=dict)
    counters: Names = Field(default_factory=list)
    defaults: DefaultsBlock = Field(default_factory=lambda: DefaultsBlock(timeout=None))
    parts: dict[Name, PartBlock] = Field(default_factory=dict)
    phases: dict[Name, PhaseBlock] = Field(default_factory=dict)
    sequences: dict[Name, SequenceBlock] = Field(default_factory=dict)
    anywhere: list[AnywhereBlock] = Field(default_factory=list)
    rules: list[RuleBlock] = Field(default_factory=list)
    loops: dict[Name, LoopUseBlock] = Field(
        default_factory=dict, description="Where loops act that do not always act."
    )
    mirror: MirrorBlock | None = None
