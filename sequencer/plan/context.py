"""What the builders of the tables share: errors, names, units."""

import difflib
from collections.abc import Collection
from dataclasses import dataclass, field

from sequencer.base import quantities
from sequencer.base.binary32 import f32, is_finite, load_f32
from sequencer.base.findings import Finding, Severity
from sequencer.base.places import Place
from sequencer.base.quantities import Quantity, UnitError
from sequencer.gait.fields import LevelText
from sequencer.gait.load import LoadedFile
from sequencer.gait.mirror import Mirror
from sequencer.gait.nodes import Positions
from sequencer.plan.levels import level_value
from sequencer.plan.tables import Level, Parameter

LONGEST_MS = 2**31 - 1
_MOST_SUGGESTIONS = 200  # of a file, and
_MOST_CANDIDATES = 1000  # names looked through for one: looking for near names is slow

# where the names of a kind are declared, and the kinds that share one space of names
_TOP_KEYS = {
    "signal": "signals",
    "event": "events",
    "switch": "switches",
    "setpoint": "setpoints",
    "pulse": "outputs",
    "output": "outputs",
    "loop": "loops",
    "parameter": "parameters",
    "counter": "counters",
}


@dataclass(slots=True)
class Names:
    """The names of one kind: those with an index, and all that the file declares, broken ones included."""

    index: dict[str, int] = field(default_factory=dict)
    declared: set[str] = field(default_factory=set)


def with_article(word: str) -> str:
    """Give "an event", "a signal"."""
    return f"an {word}" if word[:1] in "aeiou" else f"a {word}"


class Context:
    """Collects errors while the tables are built; a builder goes on after an error with what it has."""

    def __init__(self, gait: LoadedFile, machine: LoadedFile) -> None:
        self.gait = gait
        self.machine = machine
        self.findings: list[Finding] = []
        self.names: dict[str, Names] = {}
        self.parameters: list[Parameter] = []
        self.suggestions = 0
        self.told: set[tuple[str, ...]] = set()  # entries of the machine file with an error found here

    def error(self, code: str, place: Place, message: str, *, expected: str = "", fix: str = "") -> None:
        """Note an error."""
        self.findings.append(Finding(code, Severity.ERROR, place, message, expected=expected, fix=fix))

    def at(self, *path: str | int) -> Place:
        """Give the place of a value in the gait file."""
        return self.gait.where.value(path)

    def declare(
        self, kind: str, found: list[str], declared: tuple[str, ...], file: LoadedFile, *, first: int = 0
    ) -> None:
        """Enter the names of a kind, numbered from `first` on; a name that another kind has is an error.

        They join those of the kind that are there already.
        """
        before = self.names.pop(kind, Names())
        names = {name: i for i, name in enumerate(found, first)}
        for other, taken in self.names.items():
            if other not in _TOP_KEYS:
                continue
            for name in names.keys() & taken.index.keys():
                self.error(
                    "duplicate-name",
                    self.place_of(kind, name, file),
                    f"{name} is the name of {with_article(other)} already",
                    expected="one thing for each name",
                    fix=f"call the {kind} {name}_{kind}",
                )
        self.names[kind] = Names(before.index | names, {*before.declared, *found, *declared})

    def withdraw(self, kind: str, name: str) -> None:
        """Take back a name whose unit is broken: what uses it cannot be judged."""
        self.names[kind].index.pop(name, None)

    def twice(self, names: list[str], where: Positions, *path: str) -> None:
        """Note the names of a list that stand in it more than once."""
        seen: set[str] = set()
        for i, name in enumerate(names):
            if name in seen:
                message = f"{name} stands twice under {path[-1]}"
                self.error("duplicate-name", where.value((*path, i)), message, expected="each once")
            seen.add(name)

    def was_cut(self, file: LoadedFile, *path: str) -> bool:
        """Tell whether the entry at `path` is left out because of an error that has been told."""
        return path in file.cut or (file is self.machine and path in self.told)

    @staticmethod
    def place_of(kind: str, name: str, file: LoadedFile) -> Place:
        """Give the place at which a name is declared."""
        top = _TOP_KEYS[kind]
        if (top, name) in file.where.keys:
            return file.where.key((top, name))
        items = file.declared.get(top, ())
        return file.where.value((top, items.index(name)) if name in items else (top,))

    def find(self, kind: str, name: str, place: Place) -> int | None:
        """Give the index of a name; notes an error, with the nearest known name, if there is none."""
        names = self.names.get(kind, Names())
        if name in names.index:
            return names.index[name]
        if name in names.declared or self._vanished(name):
            return None  # its own block is broken, and that has been said
        elsewhere = next((k for k, n in self.names.items() if name in n.index and k in _TOP_KEYS), None)
        what, _, sequence = kind.partition(" of ")
        message = f"there is no {what} {name}" + (f" in sequence {sequence}" if sequence else "")
        known = ", ".join(list(names.index)[:12]) + (", ..." if len(names.index) > 12 else "")
        close = self.nearest(name, names.declared)
        self.error(
            "unknown-name",
            place,
            f"{name} is {with_article(elsewhere)}, not {with_article(what)}" if elsewhere else message,
            expected=f"one of: {known}" if known else f"{with_article(what)} that is declared; there is none",
            fix=f"did you mean {close}?" if close else "",
        )
        return None

    def _vanished(self, name: str) -> bool:
        patterns = (*self.gait.vanished, *self.machine.vanished)
        return any(pattern.fullmatch(name) for pattern in patterns)

    def nearest(self, name: str, known: Collection[str]) -> str:
        """Give the known name that is nearest to `name`, or nothing."""
        self.suggestions += 1
        if self.suggestions > _MOST_SUGGESTIONS or len(known) > _MOST_CANDIDATES:
            return ""
        close = difflib.get_close_matches(name, sorted(known), n=1)
        return close[0] if close else ""

    # numbers

    def number(self, quantity: Quantity, unit: str, place: Place, *, bare: bool = False) -> float | None:
        """Turn a quantity into `unit`, in binary64; `bare` lets a number without a unit pass.

        Gives None and notes an error if the units do not fit or the number has no finite binary32.
        """
        if not quantity.unit and (bare or unit in {"", "counts"}):
            return quantity.value if self.fits(quantity.value, place) else None
        try:
            value = quantities.convert(quantity, unit)
        except UnitError as error:
            missing = not quantity.unit
            self.error(
                "bad-unit",
                place,
                f"{quantity} has no unit" if missing else str(error),
                expected=_wanted(unit),
                fix=_with_unit(quantity.value, unit) if missing else "",
            )
            return None
        return value if self.fits(value, place) else None

    def known_unit(self, unit: str, place: Place) -> bool:
        """Tell whether a declared unit is known; notes an error if not."""
        try:
            quantities.dimension(unit)
        except UnitError as error:
            known = quantities.known_units()
            close = difflib.get_close_matches(unit, known, n=1)
            expected = f"one of {', '.join(known)}; also per time, such as mm/s"
            self.error(
                "bad-unit",
                place,
                str(error),
                expected=expected,
                fix=f"did you mean {close[0]}?" if close else "",
            )
            return False
        return True

    def unit_of(self, kind: str, name: str, unit: str, place: Place) -> str:
        """Give a declared unit; if it is unknown, note an error, withdraw the name and give "" instead."""
        if self.known_unit(unit, place):
            return unit
        self.withdraw(kind, name)
        return ""

    def span(
        self, span: tuple[Quantity, Quantity], unit: str, place: Place, *, bare: bool = True
    ) -> tuple[float, float] | None:
        """Turn a span into two binary32 numbers, the lower first."""
        low, high = (self.number(q, unit, place, bare=bare) for q in span)
        if low is None or high is None:
            return None
        if load_f32(low) >= load_f32(high):
            self.error(
                "out-of-span", place, f"the span [{low:g}, {high:g}] is empty", expected="[lowest, highest]"
            )
            return None
        return load_f32(low), load_f32(high)

    def fits(self, value: float, place: Place) -> bool:
        """Tell whether a number has a finite binary32; notes an error if not."""
        if not is_finite(f32(value)):
            self.error(
                "bad-number", place, f"{value:g} is too large for the controller", expected="below 3.4e38"
            )
            return False
        return True

    def ms(self, quantity: Quantity, place: Place, *, least: int = 0) -> int | None:
        """Turn a duration into whole milliseconds below 2^31."""
        value = self.number(quantity, "ms", place)
        if value is None:
            return None
        whole = round(value)
        if abs(value - whole) > 1e-6 or not least <= whole <= LONGEST_MS:
            expected = f"whole milliseconds, {least} ms to {LONGEST_MS} ms (24.8 days)"
            self.error("out-of-span", place, f"{quantity} is no usable time", expected=expected)
            return None
        return whole

    def per_second(self, rate: Quantity, unit: str, place: Place) -> float | None:
        """Turn a rate into `unit` per second; for a bare number a bare rate will do."""
        top, _, per = unit.partition("/")
        if not per:
            return self.number(rate, f"{unit}/s", place, bare=not unit)
        # the unit is per a time itself: read the rate per that time squared, then per second
        value = self.number(rate, f"{top}/{per}2", place)
        return None if value is None else value * quantities.factor("s", per)

    def us(self, quantity: Quantity, place: Place) -> int | None:
        """Turn a sample period into whole microseconds."""
        value = self.number(quantity, "us", place)
        if value is None:
            return None
        if not 1 <= value <= LONGEST_MS:
            self.error(
                "out-of-span", place, f"{quantity} is no usable sample period", expected="1 us to 35 minutes"
            )
            return None
        return round(value)

    def level(
        self, level: LevelText, unit: str, place: Place, *, mirror: Mirror | None = None, negate: bool = False
    ) -> Level | None:
        """Turn a threshold or target into a Level in `unit`, negated for a mirror image if asked."""
        plus = None
        if level.quantity is not None:
            value = self.number(level.quantity, unit, place)
            if value is None:
                return None
            plus = load_f32(-value if negate else value)
        if level.parameter is None:
            return Level(plus)
        name = mirror.name(level.parameter) if mirror else level.parameter
        index = self.named(name, unit, place)
        return None if index is None else Level(plus, index, negate)

    def named(self, name: str, unit: str | None, place: Place) -> int | None:
        """Find the parameter that gives a number of `unit` (None: unknown); notes an error if it does not."""
        index = self.find("parameter", name, place)
        if index is None or unit is None:
            return None
        parameter = self.parameters[index]
        if parameter.unit != unit:
            self.error(
                "bad-unit",
                place,
                f"{name} is in {parameter.unit or 'no unit'}, here {unit or 'no unit'} is needed",
                expected="a parameter in the same unit: nothing is converted while the machine runs",
                fix=f"declare {name} in {unit}" if unit else f"declare {name} without a unit",
            )
            return None
        return index

    def not_below_0(self, parameter: int, place: Place) -> bool:
        """Tell whether a parameter can limit something either way; notes an error if not."""
        row = self.parameters[parameter]
        if row.low < 0:
            message = f"{row.name} can be trimmed to {row.low:g}, and a limit holds either way"
            self.error("out-of-span", place, message, expected="a parameter with a span from 0 on")
        return row.low >= 0

    def range_of(self, level: Level) -> tuple[float, float]:
        """Give the smallest and largest value that a level can take while parameters are trimmed."""
        if level.parameter is None:
            assert level.plus is not None
            return level.plus, level.plus
        parameter = self.parameters[level.parameter]
        low, high = parameter.low, parameter.high
        if level.negated:
            low, high = -high, -low
        plus = level.plus or 0.0
        return load_f32(low + plus), load_f32(high + plus)

    def value_of(self, level: Level) -> float:
        """Give the value of a level with the parameters as the file gives them."""
        return level_value(level, [parameter.value for parameter in self.parameters])


def _wanted(unit: str) -> str:
    if unit and quantities.dimension(unit) == "time":
        return "a time, such as 20 ms or 2 s"
    return f"a number in {unit}" if unit else "a number without a unit"


def _with_unit(value: float, unit: str) -> str:
    """Say how a number without a unit may have been meant; whether a time was in seconds, nobody knows."""
    if quantities.dimension(unit) == "time":
        return f"{value:g} us" if unit == "us" else f"{value:g} ms or {value:g} s"
    return f"{value:g} {unit}"
