"""Plain scalars against the table of the core schema, YAML 1.2.2, section 10.3.2."""

import pytest

from sequencer.base.places import Place
from sequencer.gait.nodes import Mapping, Text, scalar
from sequencer.gait.reading import parse_tree

HERE = Place("x", 1, 1)

# regular expression of the specification -> what it resolves to; from the table in section 10.3.2
RESOLVED = [
    ("null", None), ("Null", None), ("NULL", None), ("~", None), ("", None),
    ("true", True), ("True", True), ("TRUE", True), ("false", False), ("False", False), ("FALSE", False),
    ("0", 0), ("-0", 0), ("3", 3), ("-19", -19), ("+12", 12), ("007", 7),
    ("0o7", 7), ("0o17", 15), ("0x3A", 58), ("0xff", 255),
    ("0.", 0.0), ("-0.0", 0.0), (".5", 0.5), ("+12e03", 12000.0), ("-2E+05", -200000.0), ("0.1", 0.1),
    ("12e3", 12000.0), ("1.5e-3", 0.0015), ("-.5", -0.5),
]  # fmt: skip

# what YAML 1.1 and other readers take for something else, and what only looks like a number
STRINGS = [
    "on", "off", "yes", "no", "y", "n", "On", "OFF", "Yes", "NO", "tRUE", "nULL", "nil", "None",
    "1_000", "1:30", "190:20:30", "0b101", "0o8", "-0o7", "+0x1", "0xG", "1e", "e5", ".", "+", "-.", "1.2.3",
    "2001-12-14", "2001-12-14t21:59:43.10-05:00", "<<", "=", "15 deg", ".e5", "++1", "1,000", "\u0661", "- 1",
]  # fmt: skip

NOT_FINITE = [".inf", ".Inf", ".INF", "+.inf", "-.inf", ".nan", ".NaN", ".NAN", "1e999", "-1e999", "9" * 400]


@pytest.mark.parametrize(("text", "value"), RESOLVED)
def test_a_plain_scalar_resolves_as_in_the_specification(text: str, value: object) -> None:
    found = scalar(Text(text, True, HERE))
    assert found == value
    assert type(found) is type(value)


@pytest.mark.parametrize("text", STRINGS)
def test_everything_else_is_a_string(text: str) -> None:
    assert scalar(Text(text, True, HERE)) == text


@pytest.mark.parametrize("text", NOT_FINITE)
def test_numbers_that_are_not_finite_are_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"finite|too large"):
        scalar(Text(text, True, HERE))


@pytest.mark.parametrize("text", [text for text, _ in RESOLVED] + STRINGS + NOT_FINITE)
@pytest.mark.parametrize("quote", ["'", '"'])
def test_what_is_quoted_is_a_string(text: str, quote: str) -> None:
    root, findings = parse_tree(f"key: {quote}{text}{quote}\n", "x")
    assert isinstance(root, Mapping)
    (value,) = [item for _, item in root.entries]
    assert isinstance(value, Text)
    assert (scalar(value), findings) == (text, [])


@pytest.mark.parametrize("style", ["|", ">"])
def test_a_block_scalar_is_a_string(style: str) -> None:
    root, _ = parse_tree(f"key: {style}\n  true\n", "x")
    assert isinstance(root, Mapping)
    value = root.get("key")
    assert isinstance(value, Text)
    assert scalar(value) == "true\n"
