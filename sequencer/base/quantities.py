"""Numbers with a unit, as they stand in a user's file.

Only listed units are accepted and only the form ``number unit``: units libraries evaluate expressions, and
an expression from a stranger's file may never return. The factors themselves come from pint.
"""

import functools
import math
import re
from dataclasses import dataclass
from typing import Any

# our spelling -> (dimension, pint's spelling)
_BASE: dict[str, tuple[str, str]] = {
    "deg": ("angle", "degree"),
    "rad": ("angle", "radian"),
    "turn": ("angle", "turn"),
    "um": ("length", "micrometer"),
    "mm": ("length", "millimeter"),
    "cm": ("length", "centimeter"),
    "m": ("length", "meter"),
    "in": ("length", "inch"),
    "us": ("time", "microsecond"),
    "ms": ("time", "millisecond"),
    "s": ("time", "second"),
    "min": ("time", "minute"),
    "h": ("time", "hour"),
    "mV": ("voltage", "millivolt"),
    "V": ("voltage", "volt"),
    "mA": ("current", "milliampere"),
    "A": ("current", "ampere"),
    "ohm": ("resistance", "ohm"),
    "W": ("power", "watt"),
    "N": ("force", "newton"),
    "kN": ("force", "kilonewton"),
    "kg": ("mass", "kilogram"),
    "Nm": ("torque", "newton * meter"),
    "kPa": ("pressure", "kilopascal"),
    "bar": ("pressure", "bar"),
    "Hz": ("frequency", "hertz"),
    "rpm": ("angle/time", "revolution / minute"),
    "g": ("length/time2", "standard_gravity"),
    "%": ("share", "percent"),
    "counts": ("counts", ""),
    "": ("number", ""),
}
_TIMES = {"us", "ms", "s", "min", "h"}
_PREFIXES = ("micro", "milli", "centi", "kilo")
# ASCII only: \d would take the digits of every script
_NUMBER = r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_QUANTITY = re.compile(rf"({_NUMBER})(?: *([A-Za-z%][A-Za-z0-9%]*(?:/[A-Za-z]+2?)?|/[A-Za-z]+2?))?")
_LONGEST = 60
_SPELLED_OUT = {
    **dict.fromkeys(("\u00b0", "degree", "degrees", "Deg", "DEG"), "deg"),
    **dict.fromkeys(("radian", "radians"), "rad"),
    **dict.fromkeys(("millimeter", "millimeters", "millimetre", "millimetres", "MM"), "mm"),
    **dict.fromkeys(("sec", "secs", "second", "seconds", "S"), "s"),
    **dict.fromkeys(("msec", "millisecond", "milliseconds", "MS"), "ms"),
    **dict.fromkeys(("newton", "newtons"), "N"),
    **dict.fromkeys(("v", "volt", "volts"), "V"),
    **dict.fromkeys(("hz", "hertz"), "Hz"),
}


class UnitError(ValueError):
    """A text that is not ``number unit``, an unknown unit, or units that do not convert."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number and the unit it was written with ("" if none)."""

    value: float
    unit: str = ""

    def __str__(self) -> str:
        return f"{self.value:g} {self.unit}".strip()


def parse(text: str) -> Quantity:
    """Read ``15 deg``, ``-2.5e-3 m`` or ``0.4``.

    Raises UnitError for anything else, for unknown units and for numbers that are not finite.
    """
    match = _QUANTITY.fullmatch(text.strip()) if len(text) <= _LONGEST else None
    if match is None:
        raise UnitError(f"{text[:_LONGEST]!r} is not a number with a unit{_meant(text[:_LONGEST].strip())}")
    value = float(match[1])
    if not math.isfinite(value):
        raise UnitError(f"{text!r} is too large")
    unit = match[2] or ""
    dimension(unit)
    return Quantity(value, unit)


def _meant(text: str) -> str:
    """Say how a quantity is written that people write in another way, or nothing."""
    if re.fullmatch(r"[+-]?[0-9]+,[0-9]+( *[A-Za-z/%]+)?", text):
        return f"; decimals take a point: {text.replace(',', '.')}"
    number = re.match(_NUMBER, text)
    unit = _SPELLED_OUT.get(text[number.end() :].strip()) if number else None
    return f"; write {number[0]} {unit}" if number and unit else ""


def looks_like_number(text: str) -> bool:
    """Tell whether the text starts as a number does, so that a name is out of the question."""
    return re.match(r"[+-]?\.?[0-9]", text.strip()) is not None


def known_units() -> tuple[str, ...]:
    """List the units without a denominator; each may be divided by a time ("mm/s", "m/s2")."""
    return tuple(name for name in _BASE if name)


def _split(unit: str) -> tuple[str, str, bool]:
    top, _, bottom = unit.partition("/")
    squared = bottom.endswith("2")
    return top, bottom.removesuffix("2"), squared


@functools.lru_cache(maxsize=256)
def dimension(unit: str) -> str:
    """Name what a unit measures ("angle", "length/time"). Raises UnitError for an unknown unit."""
    top, bottom, squared = _split(unit)
    if top not in _BASE or (bottom and bottom not in _TIMES) or ("/" in unit and not bottom):
        short = _SPELLED_OUT.get(unit)
        raise UnitError(f"{unit!r} is not a unit known here" + (f"; write {short}" if short else ""))
    kind = _BASE[top][0]
    if not bottom:
        return kind
    base, per, own = kind.partition("/time")
    power = (2 if squared else 1) + (int(own or 1) if per else 0)
    return f"{base}/time{power if power > 1 else ''}"


def _pint_spelling(unit: str) -> str:
    top, bottom, squared = _split(unit)
    if not bottom:
        return _BASE[top][1]
    power = " ** 2" if squared else ""
    return f"({_BASE[top][1] or 'dimensionless'}) / ({_BASE[bottom][1]}{power})"


@functools.lru_cache(maxsize=1)
def _registry() -> Any:
    from sequencer.base.unit_registry import small_registry

    return small_registry((spelling for _, spelling in _BASE.values() if spelling), _PREFIXES)


@functools.lru_cache(maxsize=256)
def factor(unit: str, to: str) -> float:
    """Give the number that turns a value in `unit` into one in `to`, in binary64.

    Raises UnitError if either is unknown or they measure different things.
    """
    if dimension(unit) != dimension(to):
        raise UnitError(f"{_said(unit)} cannot be turned into {_said(to)}")
    if unit == to:
        return 1.0
    return float(_registry().Quantity(1, _pint_spelling(unit)).to(_pint_spelling(to)).magnitude)


def _said(unit: str) -> str:
    return f"{unit} ({dimension(unit)})" if unit else "a number without a unit"


def convert(quantity: Quantity, to: str) -> float:
    """Turn a quantity into a number of `to`. Raises UnitError if they measure different things."""
    return quantity.value * factor(quantity.unit, to)
