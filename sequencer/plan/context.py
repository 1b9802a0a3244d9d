"""What the builders of the tables share: errors, names, units."""

import difflib
from dataclasses import dataclass, field

from sequencer.base import quantities
from sequencer.base.binary32 import load_f32
from sequencer.base.findings import Finding, Severity
from sequencer.base.places import Place
from sequencer.base.quantities import Quantity, UnitError
from sequencer.gait.fields import LevelText
from sequencer.gait.load import LoadedFile
from sequencer.gait.mirror import Mirror
from sequencer.plan.tables import Level, Parameter

LONGEST_MS = 2**31 - 1


@dataclass(slots=True)
class Names:
    """The names of one kind: those with an index, and all that the file declares, broken ones included."""

    index: dict[str, int] = field(default_factory=dict)
    declared: set[str] = field(default_factory=set)


class Context:
    """Collects errors while the tables are built; a builder goes on after an error with what it has."""

    def __init__(self, gait: LoadedFile, machine: LoadedFile) -> None:
        self.gait = gait
        self.machine = machine
        self.findings: list[Finding] = []
        self.names: dict[str, Names] = {}
        self.parameters: list[Parameter] = []

    def error(self, code: str, place: Place, message: str, *, expected: str = "", fix: str = "") -> None:
        """Note an error."""
        self.findings.append(Finding(code, Severity.ERROR, place, message, expected=expected, fix=fix))

    def at(self, *path: str | int) -> Place:
        """Give the place of a value in the gait file."""
        return self.gait.where.value(path)

    def declare(self, kind: str, found: list[str], declared: tuple[str, ...], file: LoadedFile) -> None:
        """Enter the names of a kind; a name that another kind has already is an error."""
        self.names[kind] = Names({name: i for i, name in enumerate(found)}, {*found, *declared})
        for other, names in self.names.items():
            if other == kind:
                continue
            for name in found:
                if name in names.index:
                    self.error(
                        "duplicate-name",
                        self._place_of(kind, name, file),
                        f"{name} is the name of a {other} already",
                        expected="one thing for each name",
                        fix=f"call the {kind} {name}_{kind}",
                    )

    @staticmethod
    def _place_of(kind: str, name: str, file: LoadedFile) -> Place:
        top = {"switch": "switches", "pulse": "outputs"}.get(kind, f"{kind}s")
        if (top, name) in file.where.keys:
            return file.where.key((top, name))
        items = file.declared.get(top, ())
        return file.where.value((top, items.index(name)) if name in items else (top,))

    def find(self, kind: str, name: str, place: Place) -> int | None:
        """Give the index of a name; notes an error, with the nearest known name, if there is none."""
        names = self.names.get(kind, Names())
        if name in names.index:
            return names.index[name]
        if name in names.declared:
            return None  # its own block is broken, and that has been said
        elsewhere = next((k for k, n in self.names.items() if name in n.declared), None)
        close = difflib.get_close_matches(name, names.declared, n=1)
        known = ", ".join(list(names.index)[:12]) + (", ..." if len(names.index) > 12 else "")
        self.error(
            "unknown-name",
            place,
            f"{name} is a {elsewhere}, not a {kind}" if elsewhere else f"there is no {kind} {name}",
            expected=f"one of: {known}" if known else f"a {kind} that is declared; there is none",
            fix=f"did you mean {close[0]}?" if close else "",
        )
        return None

    # numbers

    def number(self, quantity: Quantity, unit: str, place: Place, *, bare: bool = False) -> float | None:
        """Turn a quantity into `unit`, in binary64; `bare` lets a number without a unit pass."""
        if not quantity.unit and (bare or unit in {"", "counts"}):
            return quantity.value
        try:
            return quantities.convert(quantity, unit)
        except UnitError as error:
            missing = not quantity.unit
            self.error(
                "bad-unit",
                place,
                f"{quantity} has no unit" if missing else str(error),
                expected=f"a number in {unit}" if unit else "a number without a unit",
                fix=f"{quantity.value:g} {unit}" if missing else "",
            )
            return None

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

    def span(
        self, span: tuple[Quantity, Quantity], unit: str, place: Place, *, bare: bool = True
    ) -> tuple[float, float] | None:
        """Turn a span into two binary32 numbers, the lower first."""
        low, high = (self.number(q, unit, place, bare=bare) for q in span)
        if low is None or high is None:
            return None
        if not self.fits(low, place) or not self.fits(high, place):
            return None
        if load_f32(low) >= load_f32(high):
            self.error(
                "out-of-span", place, f"the span [{low:g}, {high:g}] is empty", expected="[lowest, highest]"
            )
            return None
        return load_f32(low), load_f32(high)

    def fits(self, value: float, place: Place) -> bool:
        """Tell whether a number has a finite binary32; notes an error if not."""
        if abs(load_f32(value)) == float("inf"):
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
            if value is None or not self.fits(value, place):
                return None
            plus = load_f32(-value if negate else value)
        if level.parameter is None:
            return Level(plus)
        name = mirror.name(level.parameter) if mirror else level.parameter
        index = self.find("parameter", name, place)
        if index is None:
            return None
        parameter = self.parameters[index]
        if parameter.unit != unit:
            self.error(
                "bad-unit",
                place,
                f"{name} is in {parameter.unit or 'no unit'}, here {unit or 'no unit'} is needed",
                expected="a parameter in the same unit: nothing is converted while the machine runs",
                fix=f"declare {name} in {unit}" if unit else "",
            )
            return None
        return Level(plus, index, negate)

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
