"""The field types of the file models: names, quantities, levels, holds, rates.

Each turns what stands in the file into plain data, or raises a PydanticCustomError whose type is one of our
codes. Units are only compared and converted later, when it is known what they belong to.
"""

import re
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import AfterValidator, BeforeValidator, PlainValidator, StrictStr, WithJsonSchema
from pydantic_core import PydanticCustomError

from sequencer.base import quantities
from sequencer.base.quantities import Quantity, UnitError
from sequencer.gait.reserved import is_reserved

LONGEST_NAME = 60
_NAME = re.compile(r"[A-Za-z][A-Za-z0-9]*(_[A-Za-z0-9]+)*")
_SAMPLES = re.compile(r"([0-9]{1,9}) *samples?")


def fail(code: str, message: str, expected: str = "", fix: str = "") -> PydanticCustomError:
    """Make the error that a field type raises."""
    template = message.replace("{", "(").replace("}", ")")
    return PydanticCustomError(code, template, {"expected": expected, "fix": fix})


def is_name(value: str) -> bool:
    """Tell whether a text has the form of a name."""
    return len(value) <= LONGEST_NAME and _NAME.fullmatch(value) is not None


def _parted(value: str) -> str:
    """Say how a text that holds two names or a name and its value was probably meant."""
    name, colon, rest = value.partition(":")
    if colon and is_name(name) and rest:
        return f"write a space after the colon: {name}: {rest[:LONGEST_NAME]}"
    words = value[: 4 * LONGEST_NAME].replace(",", " ").split()
    return (
        f"several names are a list: [{', '.join(words)}]"
        if len(words) > 1 and all(map(is_name, words))
        else ""
    )


def check_name(value: str) -> str:
    """Accept a name that people, CSV headers and C++ can all use."""
    if not is_name(value):
        variable = re.search(r"<\w*>", value)
        raise fail(
            "bad-name",
            f"{value[:LONGEST_NAME]!r} cannot be a name",
            f"a letter, then letters, digits and single underscores, at most {LONGEST_NAME}, all ASCII",
            f"{variable[0]} needs a for_each beside it" if variable else _parted(value),
        )
    if is_reserved(value):
        raise fail(
            "reserved-name",
            f"{value} means something in C++ or on the boards",
            "any other name",
            f"for example {value}_phase or my_{value}",
        )
    return value


Name = Annotated[StrictStr, AfterValidator(check_name)]

_NUMBER_SCHEMA = {
    "type": ["string", "number"],
    "description": "A number with its unit, such as 15 deg, 40 mm, 0.5 s.",
}


def to_quantity(value: Any) -> Quantity:
    """Accept ``15 deg`` or a bare number."""
    if isinstance(value, Quantity):
        return value
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise fail("bad-unit", "a number with its unit is needed here", "for example 15 deg")
    try:
        return quantities.parse(str(value)) if isinstance(value, str) else Quantity(float(value))
    except (UnitError, OverflowError) as error:
        known = ", ".join(quantities.known_units())
        expected = f"a number with a unit ({known}; also per time, such as mm/s)"
        raise fail("bad-unit", str(error), expected) from None


Amount = Annotated[Quantity, PlainValidator(to_quantity), WithJsonSchema(_NUMBER_SCHEMA)]


def to_number(value: Any) -> Quantity | str:
    """Accept ``0.6 deg`` or the name of a parameter."""
    if isinstance(value, str) and not quantities.looks_like_number(value):
        return check_name(value)
    return to_quantity(value)


_NAMED_SCHEMA = {
    "type": ["string", "number"],
    "description": "A number with its unit, or the name of a parameter, by which it can be trimmed.",
}
NumberField = Annotated[Quantity | str, PlainValidator(to_number), WithJsonSchema(_NAMED_SCHEMA)]


def to_gain(value: Any) -> float | str:
    """Accept a bare number or the name of a parameter."""
    if isinstance(value, str) and not quantities.looks_like_number(value):
        return check_name(value)
    expected = "a number without a unit, or the name of a parameter"
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise fail("wrong-type", f"{str(value)[:LONGEST_NAME]!r} is no gain", expected)
    try:
        return float(value)
    except OverflowError:
        raise fail("bad-number", "this gain is too large for the controller", expected) from None


GainField = Annotated[float | str, PlainValidator(to_gain), WithJsonSchema(_NAMED_SCHEMA)]


@dataclass(frozen=True, slots=True)
class LevelText:
    """A threshold or target as written: a quantity, a parameter, or a parameter plus a quantity."""

    quantity: Quantity | None
    parameter: str | None


def to_level(value: Any) -> LevelText:
    """Accept ``15 deg``, ``lean_angle`` or ``{of: lean_angle, plus: 2 deg}``."""
    if isinstance(value, LevelText):
        return value
    if isinstance(value, str) and not quantities.looks_like_number(value):
        return LevelText(None, check_name(value))
    if not isinstance(value, dict):
        return LevelText(to_quantity(value), None)
    expected = "a quantity, a parameter, or {of: parameter, plus: quantity}"
    if set(value) != {"of", "plus"} or not isinstance(value["of"], str):
        raise fail("bad-level", "only of and plus can stand here, both of them", expected)
    return LevelText(to_quantity(value["plus"]), check_name(value["of"]))


_LEVEL_SCHEMA = {
    "anyOf": [
        {
            "type": ["string", "number"],
            "description": "A quantity such as 15 deg, or the name of a parameter.",
        },
        {
            "type": "object",
            "properties": {"of": {"type": "string"}, "plus": {"type": ["string", "number"]}},
            "required": ["of", "plus"],
            "additionalProperties": False,
        },
    ]
}
LevelField = Annotated[LevelText, PlainValidator(to_level), WithJsonSchema(_LEVEL_SCHEMA)]


def to_levels(value: Any) -> tuple[LevelText, LevelText]:
    """Accept a pair ``[low, high]``."""
    if not isinstance(value, list) or len(value) != 2:
        raise fail("wrong-type", "two levels are needed here", "[low, high]")
    return to_level(value[0]), to_level(value[1])


def to_release(value: Any) -> tuple[LevelText, ...]:
    """Accept one level, or a pair for within and outside."""
    return to_levels(value) if isinstance(value, list) else (to_level(value),)


_PAIR_SCHEMA = {"type": "array", "items": _LEVEL_SCHEMA, "minItems": 2, "maxItems": 2}
LevelPair = Annotated[tuple[LevelText, LevelText], PlainValidator(to_levels), WithJsonSchema(_PAIR_SCHEMA)]
Release = Annotated[
    tuple[LevelText, ...],
    PlainValidator(to_release),
    WithJsonSchema({"anyOf": [_LEVEL_SCHEMA, _PAIR_SCHEMA]}),
]


def _span_meant(value: Any) -> str:
    """Say how a span that lacks its comma, or has one too many, was probably meant."""
    if isinstance(value, list) and len(value) in (3, 4):
        return "decimals take a point"
    texts = str(value[0]).split() if isinstance(value, list) and len(value) == 1 else []
    return f"[{texts[0]}, {texts[1]}]" if len(texts) == 2 else ""


def to_span(value: Any) -> tuple[Quantity, Quantity]:
    """Accept ``[-45, 45]`` or ``[-45 deg, 45 deg]``."""
    if not isinstance(value, list) or len(value) != 2:
        raise fail("wrong-type", "a span needs two numbers", "[lowest, highest]", _span_meant(value))
    return to_quantity(value[0]), to_quantity(value[1])


Span = Annotated[
    tuple[Quantity, Quantity],
    PlainValidator(to_span),
    WithJsonSchema({"type": "array", "items": _NUMBER_SCHEMA, "minItems": 2, "maxItems": 2}),
]


@dataclass(frozen=True, slots=True)
class HoldText:
    """How long a guard must stay true: a time, or a number of fresh samples."""

    time: Quantity | None
    samples: int | None


def to_hold(value: Any) -> HoldText:
    """Accept ``200 ms`` or ``3 samples``."""
    match = _SAMPLES.fullmatch(value) if isinstance(value, str) else None
    if match:
        if not 1 <= int(match[1]) <= 255:
            raise fail("out-of-span", f"{match[1]} samples cannot be counted", "1 to 255 samples")
        return HoldText(None, int(match[1]))
    try:
        return HoldText(to_quantity(value), None)
    except PydanticCustomError:
        raise fail(
            "bad-unit",
            f"{str(value)[:LONGEST_NAME]!r} is no hold",
            "a time (200 ms) or fresh samples (3 samples)",
        ) from None


HoldField = Annotated[
    HoldText,
    PlainValidator(to_hold),
    WithJsonSchema({"type": "string", "description": "200 ms, or 3 samples (fresh ones)."}),
]


@dataclass(frozen=True, slots=True)
class RateText:
    """A rate, perhaps times a parameter."""

    rate: Quantity
    times: str | None


def to_rate(value: Any) -> RateText:
    """Accept ``16 deg/s`` or ``{of: 16 deg/s, times: speed}``."""
    if not isinstance(value, dict):
        return RateText(to_quantity(value), None)
    if set(value) != {"of", "times"} or not isinstance(value["times"], str):
        raise fail("wrong-type", "only of and times can stand here, both", "{of: 16 deg/s, times: speed}")
    return RateText(to_quantity(value["of"]), check_name(value["times"]))


_RATE_SCHEMA = {
    "anyOf": [
        {"type": "string", "description": "The largest change per time, such as 16 deg/s."},
        {
            "type": "object",
            "properties": {"of": {"type": "string"}, "times": {"type": "string"}},
            "required": ["of", "times"],
            "additionalProperties": False,
        },
    ]
}
RateField = Annotated[RateText, PlainValidator(to_rate), WithJsonSchema(_RATE_SCHEMA)]


def _as_list(value: Any) -> Any:
    return [value] if isinstance(value, str) else value


_NAMES_SCHEMA: dict[str, Any] = {
    "anyOf": [{"type": "string"}, {"type": "array", "items": {"type": "string"}}]
}
# one name, or a list of names
Names = Annotated[list[Name], BeforeValidator(_as_list), WithJsonSchema(_NAMES_SCHEMA)]


def to_followers(value: Any) -> dict[str, Quantity | None]:
    """Accept one signal, a list of signals, or signals with the angle at which each stands off."""
    if isinstance(value, dict):
        return {check_name(name): to_quantity(offset) for name, offset in value.items()}
    names = _as_list(value)
    if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
        raise fail(
            "wrong-type", "signals are needed here", "a signal, a list of signals, or {signal: offset}"
        )
    return dict.fromkeys(check_name(name) for name in names)


Followers = Annotated[
    dict[str, Quantity | None],
    PlainValidator(to_followers),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "string"},
                {"type": "array", "items": {"type": "string"}},
                {"type": "object", "additionalProperties": _NUMBER_SCHEMA},
            ]
        }
    ),
]


PhaseSet = dict[str, list[str]]  # by sequence; "" where the file names no sequence


def to_phase_set(value: Any) -> PhaseSet:
    """Accept phases, or with several sequences ``{SEQUENCE: [PHASES]}``."""
    given = value if isinstance(value, dict) else {"": value}
    found: PhaseSet = {}
    for sequence, phases in given.items():
        names = _as_list(phases)
        if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
            raise fail("wrong-type", "phases are needed here", "a list of phases, or {sequence: [phases]}")
        key = check_name(sequence) if isinstance(value, dict) else ""
        found[key] = [check_name(name) for name in names]
    return found


PhaseSetField = Annotated[
    PhaseSet,
    PlainValidator(to_phase_set),
    WithJsonSchema(
        {"anyOf": [*_NAMES_SCHEMA["anyOf"], {"type": "object", "additionalProperties": _NAMES_SCHEMA}]}
    ),
]


def to_accept(value: Any) -> dict[str, str]:
    """Accept codes of findings with reasons; whether both make sense is judged by the check."""
    if not isinstance(value, dict):
        raise fail("wrong-type", "accept needs codes with reasons", "accept: {CODE: why this is accepted}")
    for code, reason in value.items():
        if reason is not None and not isinstance(reason, str):
            message = f"{code[:LONGEST_NAME]} needs a reason in words"
            raise fail("wrong-type", message, "accept: {CODE: why this is accepted}")
    return {str(code): reason or "" for code, reason in value.items()}


AcceptField = Annotated[
    dict[str, str],
    PlainValidator(to_accept),
    WithJsonSchema({"type": "object", "additionalProperties": {"type": "string"}}),
]
