"""Units against pint's full registry and against the handbook values of the SI brochure."""

import math
from fractions import Fraction

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.base import quantities
from sequencer.base.quantities import Quantity, UnitError, convert, dimension, factor, known_units, parse

_pint = pint.UnitRegistry()
# our spelling where pint would read something else
_FOR_PINT = {"in": "inch", "g": "standard_gravity", "Nm": "newton * meter", "%": "percent", "min": "minute"}


@pytest.mark.parametrize(
    ("unit", "to", "expected"),
    [
        ("in", "mm", 25.4),  # international inch, exact: SI brochure / NIST SP 811 appendix B.8
        ("g", "m/s2", 9.80665),  # standard acceleration of gravity, exact: 3rd CGPM 1901, SI brochure
        ("deg", "rad", math.pi / 180),  # SI brochure 9th edition, table 8
        ("turn", "deg", 360.0),
        ("turn", "rad", 2 * math.pi),
        ("rpm", "deg/s", 6.0),  # 360 deg in 60 s
        ("min", "s", 60.0),  # SI brochure, table 8
        ("h", "s", 3600.0),
        ("s", "ms", 1000.0),
        ("ms", "us", 1000.0),
        ("m", "mm", 1000.0),
        ("cm", "mm", 10.0),
        ("um", "mm", 0.001),
        ("bar", "kPa", 100.0),  # 1 bar = 100 kPa: SI brochure 8th edition, table 8
        ("kN", "N", 1000.0),
        ("mV", "V", 0.001),
        ("mA", "A", 0.001),
        ("deg/s", "rad/s", math.pi / 180),
        ("mm/min", "mm/s", 1 / 60),
        ("m/s2", "mm/s2", 1000.0),
    ],
)
def test_factors_are_those_of_the_handbook_to_the_last_bit(unit: str, to: str, expected: float) -> None:
    assert factor(unit, to) == expected


def _pint_unit(unit: str) -> pint.Unit:
    top, _, bottom = unit.partition("/")
    return _pint.Unit(
        f"({_FOR_PINT.get(top, top)})" + (f" / ({bottom.replace('2', '**2')})" if bottom else "")
    )


def test_every_pair_of_known_units_agrees_with_the_full_registry_of_pint() -> None:
    plain = [unit for unit in known_units() if unit != "counts"]
    units = [*plain, *(f"{unit}/s" for unit in plain), *(f"{unit}/min2" for unit in plain)]
    compared = 0
    for unit in units:
        for to in units:
            try:
                ours = factor(unit, to)
            except UnitError:
                continue
            theirs = _pint.Quantity(1.0, _pint_unit(unit)).to(_pint_unit(to)).magnitude
            assert math.isclose(ours, theirs, rel_tol=4e-16), (unit, to)
            compared += 1
    assert compared > 200


def test_the_small_registry_holds_few_units_and_counts_in_fractions() -> None:
    registry = quantities._registry()
    assert isinstance(registry.Quantity(1, "inch").to("millimeter").magnitude, Fraction)
    with pytest.raises(pint.UndefinedUnitError):
        registry.Unit("furlong")


@pytest.mark.parametrize(
    ("unit", "to"),
    [("deg", "mm"), ("N", "Nm"), ("V", "A"), ("deg", "deg/s"), ("counts", "deg"), ("%", "deg"), ("", "s")],
)
def test_units_of_different_things_do_not_convert(unit: str, to: str) -> None:
    with pytest.raises(UnitError, match="cannot be turned into"):
        factor(unit, to)


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("15 deg", 15.0, "deg"), ("15deg", 15.0, "deg"), ("-2.5e-3 m", -0.0025, "m"), ("+.5 V", 0.5, "V"),
        ("0.4", 0.4, ""), ("3.", 3.0, ""), ("16 deg/s", 16.0, "deg/s"), ("2 m/s2", 2.0, "m/s2"),
        ("50 %", 50.0, "%"), ("0.5 /s", 0.5, "/s"), ("  3 mm ", 3.0, "mm"),
    ],
)  # fmt: skip
def test_a_number_with_its_unit_is_read(text: str, value: float, unit: str) -> None:
    assert parse(text) == Quantity(value, unit)


@pytest.mark.parametrize(
    "text",
    [
        "9**9**9 deg", "(1) deg", "1 + 1 deg", "1_000 mm", "0x10 mm", "1,5 mm", "deg", "", "15 deg deg",
        "1e999 mm", "inf deg", "nan", "15 °", "\u0661\u0665 deg", "15\u00a0deg", "3 __import__", "1 deg/s/s",
        "1 deg/", "1/deg", "1 m/s3", "1 parsec", "1 " + "m" * 100,
    ],
)  # fmt: skip
def test_anything_else_is_refused(text: str) -> None:
    with pytest.raises(UnitError):
        parse(text)


@given(st.text(max_size=80))
def test_no_text_does_anything_but_parse_or_be_refused(text: str) -> None:
    try:
        quantity = parse(text)
    except UnitError:
        return
    assert math.isfinite(quantity.value)
    assert dimension(quantity.unit)


@given(st.floats(1e-6, 1e6), st.sampled_from(["deg", "rad", "mm", "in", "rpm", "g"]))
def test_there_and_back_gives_nearly_the_same(value: float, unit: str) -> None:
    other = {"deg": "rad", "rad": "turn", "mm": "in", "in": "m", "rpm": "rad/s", "g": "mm/s2"}[unit]
    back = convert(Quantity(convert(Quantity(value, unit), other), other), unit)
    assert math.isclose(back, value, rel_tol=1e-15, abs_tol=0)


@pytest.mark.parametrize(
    ("text", "fix"),
    [
        ("12,5 deg", "12.5 deg"),
        ("1\u00b0", "write 1 deg"),
        ("20 degrees", "write deg"),
        ("3 sec", "write s"),
        ("5 volts", "write V"),
    ],
)
def test_a_quantity_written_another_way_is_told_how_to_write_it(text: str, fix: str) -> None:
    with pytest.raises(UnitError, match=fix):
        parse(text)
