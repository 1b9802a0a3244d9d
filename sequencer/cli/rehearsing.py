"""Faults that can be planted into a rehearsal, as they are typed."""

from collections.abc import Iterable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from sequencer.base.errors import MisuseError
from sequencer.cli.following import milliseconds, split_once

if TYPE_CHECKING:
    from sequencer.rehearse.plant import RehearsalOptions

FAULTS = "SIGNAL:offset=2deg, SIGNAL:dies=5s, JOINT:slack=2deg, floor:friction=0.2 or supply:volts=10.5V"


def planted(options: "RehearsalOptions", faults: Iterable[str]) -> "RehearsalOptions":
    """Give the options with the faults. Raises MisuseError for what is none."""
    whose: dict[str, dict[str, Any]] = {"offset": {}, "slack": {}, "dies": {}}
    for text, amount in split_once(faults, FAULTS).items():
        name, _, what = text.partition(":")
        if (name, what) == ("floor", "friction"):
            options = replace(options, friction=_number(text, amount, ""))
        elif (name, what) == ("supply", "volts"):
            options = replace(options, volts=_number(text, amount, "V"))
        elif what in whose and name:
            whose[what][name] = milliseconds(amount) if what == "dies" else amount
        else:
            raise MisuseError(f"'{text}={amount}' is no fault that can be planted", hint=f"one of {FAULTS}")
    return replace(options, offset=whose["offset"], slack=whose["slack"], dies_at_ms=whose["dies"])


def _number(fault: str, text: str, unit: str) -> float:
    from sequencer.base.quantities import UnitError, convert, parse

    try:
        quantity = parse(text)
        return convert(quantity, unit) if quantity.unit else quantity.value
    except UnitError as error:
        raise MisuseError(f"{fault}: {error}", hint=f"one of {FAULTS}") from None
