"""What stands in the cells of a log that anything may have written: numbers, no sample, on and off."""

import re

# what programs write where there is no sample
NO_SAMPLE = frozenset(["", "NA", "N/A", "n/a", "null", "NULL", "None", "-"])

_NUMBER = re.compile(r"[+-]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d+)?")
_NOT_FINITE = re.compile(r"[+-]?(?:nan|inf|infinity)", re.IGNORECASE)
_WHOLE = re.compile(r"[+-]?\d{1,15}(?:[.,]0*)?")
_COMMA = re.compile(rb"(?:^|[;\t])[ ]*[+-]?\d+,\d+(?:[eE][+-]?\d+)?[ ]*(?=[;\t\r\n]|$)", re.MULTILINE)
_POINT = re.compile(rb"(?:^|[;\t])[ ]*[+-]?\d+\.\d+(?:[eE][+-]?\d+)?[ ]*(?=[;\t\r\n]|$)", re.MULTILINE)
_ON_OFF = dict.fromkeys(("true", "yes", "on", "high"), 1.0) | dict.fromkeys(
    ("false", "no", "off", "low"), 0.0
)


def number_of(text: str, *, commas: bool) -> float | None:
    """Read a cell as a number, on and off as 1 and 0; None if it is neither.

    commas: decimals have a comma. NaN and infinity are numbers here.
    """
    plain = text.strip()
    if plain.lower() in _ON_OFF:
        return _ON_OFF[plain.lower()]
    if _NOT_FINITE.fullmatch(plain):
        return float(plain)
    if not _NUMBER.fullmatch(plain) or ("," in plain and not commas) or ("." in plain and commas):
        return None
    return float(plain.replace(",", "."))


def whole(text: str) -> str:
    """Spell a whole number in one way only, so that ``3``, ``03`` and ``3.0`` are one phase.

    >>> whole(" 3.0 "), whole("lift left")
    ('3', 'lift left')
    """
    plain = text.strip()
    return str(int(float(plain.replace(",", ".")))) if _WHOLE.fullmatch(plain) else plain


def with_decimal_commas(data: bytes) -> bool:
    """Tell whether a table that is not cut at commas has them in its numbers."""
    return len(_COMMA.findall(data)) > len(_POINT.findall(data))
