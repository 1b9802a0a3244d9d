"""The C++ names of everything in a plan, and its numbers as literals."""

from dataclasses import dataclass
from functools import cached_property

from sequencer.base.binary32 import f32, literal
from sequencer.generate.guard_views import LevelView
from sequencer.generate.names import bare_names, file_stem, prefixed_names, slugs
from sequencer.plan.tables import Level, Plan

# types and constants that the templates declare beside the enums
OWN_NAMES = (
    "tick_ms Events Switches Pulses Cause no_change by_reset by_timeout by_guard by_anywhere by_rule".split()
)


def whole(n: int) -> str:
    """Spell an unsigned whole number; a suffix of U lets each compiler choose a type that is wide enough."""
    return f"{n}U"


def mask(bit: int, bits: str) -> str:
    """Spell one bit of a set as a constant of the set's type."""
    width = {"uint8_t": 2, "uint16_t": 4, "uint32_t": 8}[bits]
    return f"0x{1 << bit:0{width}X}U"


def smallest(most: int) -> str:
    """Give the smallest unsigned type that holds `most`."""
    return "uint8_t" if most <= 0xFF else "uint16_t" if most <= 0xFFFF else "uint32_t"


def bits_type(count: int) -> str:
    """Give the smallest unsigned type with a bit for each of `count` things."""
    return smallest((1 << max(count, 1)) - 1)


@dataclass(frozen=True)
class Spelling:
    """Names of the plan's parts, by index.

    units: the same plan with its numbers in units, where `plan` counts in whole steps.
    """

    plan: Plan
    units: Plan | None = None

    @cached_property
    def told(self) -> Plan:
        """The plan for remarks, with numbers in units."""
        return self.plan if self.units is None else self.units

    @cached_property
    def gait(self) -> str:
        """The namespace, and the stem of the files' names."""
        return file_stem(self.plan.name)

    @cached_property
    def signals(self) -> list[str]:
        """Enumerators of the signals."""
        return prefixed_names("signal", [s.name for s in self.plan.signals])

    @cached_property
    def events(self) -> list[str]:
        """Constants of the events."""
        return prefixed_names("event", [e.name for e in self.plan.events])

    @cached_property
    def switches(self) -> list[str]:
        """Constants of the switches."""
        return prefixed_names("switch", [s.name for s in self.plan.switches])

    @cached_property
    def pulses(self) -> list[str]:
        """Constants of the pulses."""
        return prefixed_names("pulse", [p.name for p in self.plan.pulses])

    @cached_property
    def setpoints(self) -> list[str]:
        """Enumerators of the setpoints."""
        return prefixed_names("setpoint", [s.name for s in self.plan.setpoints])

    @cached_property
    def parameters(self) -> list[str]:
        """Enumerators of the parameters."""
        return prefixed_names("parameter", [p.name for p in self.plan.parameters])

    @cached_property
    def counters(self) -> list[str]:
        """Enumerators of the counters."""
        return prefixed_names("counter", [c.name for c in self.plan.counters])

    @cached_property
    def rules(self) -> list[str]:
        """Enumerators of the rules."""
        return slugs("rule", [r.name for r in self.plan.rules])

    @cached_property
    def loops(self) -> list[str]:
        """Enumerators of the loops."""
        return prefixed_names("loop", [loop.name for loop in self.plan.loops])

    @cached_property
    def outputs(self) -> list[str]:
        """Enumerators of the outputs."""
        return prefixed_names("output", [output.name for output in self.plan.outputs])

    @cached_property
    def sequences(self) -> list[str]:
        """Enumerators of the sequences."""
        return bare_names([s.name for s in self.plan.sequences], self._outer)

    @cached_property
    def suffixes(self) -> list[str]:
        """What names of a sequence's members and functions end in: nothing if there is only one sequence."""
        if len(self.plan.sequences) == 1:
            return [""]
        return [f"_{name.rstrip('_')}" for name in prefixed_suffixes(self.plan)]

    @cached_property
    def phases(self) -> list[list[str]]:
        """Enumerators of the phases, without their enum's name."""
        return [bare_names([p.name for p in s.phases], self._outer) for s in self.plan.sequences]

    @cached_property
    def _outer(self) -> frozenset[str]:
        """Constants and types around the enums: older compilers warn where an enumerator hides one."""
        return frozenset([*OWN_NAMES, *self.events, *self.switches, *self.pulses])

    def phase(self, sequence: int, phase: int) -> str:
        """Spell a phase in full."""
        return f"Phase{self.suffixes[sequence]}::{self.phases[sequence][phase]}"

    def number(self, x: float) -> str:
        """Spell a number that the sequencer works with: a float, or whole steps."""
        return literal(x) if self.plan.fixed is None else str(int(x))

    def level(self, level: Level | None) -> LevelView | None:
        """Spell a threshold or target."""
        if level is None:
            return None
        return LevelView(
            plus=None if level.plus is None else self.number(level.plus),
            parameter=None if level.parameter is None else self.parameters[level.parameter],
            negated=level.negated,
        )


def prefixed_suffixes(plan: Plan) -> list[str]:
    """Give the sequences' names as they stand behind a prefix; all differ."""
    return [name.removeprefix("x_") for name in prefixed_names("x", [s.name for s in plan.sequences])]


def product_is_needed(gain: float) -> bool:
    """Tell whether a gain does anything: multiplying by one changes no bit."""
    return gain != f32(1.0)
