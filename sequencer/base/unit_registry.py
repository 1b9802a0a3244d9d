"""A small registry of the pint package, made of the few lines of pint's own definitions that we need.

Reading all of pint's definitions takes ten times as long. Factors are fractions on the way and rounded
once, so that 1 in is 25.4 mm to the last bit.
"""

import re
from collections.abc import Iterable
from fractions import Fraction
from importlib.resources import files
from typing import Any

_WORD = re.compile(r"[^\W\d]\w*")
_FILES = ("default_en.txt", "constants_en.txt")


def small_registry(wanted: Iterable[str], prefixes: tuple[str, ...]) -> Any:
    """Make a `pint.UnitRegistry` that knows the words in `wanted` (unit names or expressions of them).

    prefixes: those that the words may begin with, as pint spells them ("milli").
    If pint's files are laid out otherwise in some release, the full registry is made.
    """
    import pint

    lines = _needed(_definitions(), list(wanted), prefixes)
    if lines is None:
        return pint.UnitRegistry(non_int_type=Fraction)
    return pint.UnitRegistry(lines, non_int_type=Fraction)


def _definitions() -> dict[str, str]:
    """Give pint's definition lines by each name that they define; prefixes end in "-"."""
    found: dict[str, str] = {}
    folder = files("pint")
    for name in _FILES:
        if not folder.joinpath(name).is_file():
            return {}
        for raw in folder.joinpath(name).read_text(encoding="utf-8").splitlines():
            line = raw.split("#")[0].strip()
            if "=" in line and not line.startswith("@"):
                first, _, *others = (part.strip() for part in line.split("="))
                for spelling in (first, *others):
                    found.setdefault(spelling, line)
    return found


def _needed(found: dict[str, str], wanted: list[str], prefixes: tuple[str, ...]) -> list[str] | None:
    """Give the lines that the words rest on, or None if a word is not among them."""
    lines: dict[str, None] = {}
    words = [word for text in wanted for word in _WORD.findall(text)]
    seen: set[str] = set()
    while words:
        word = words.pop()
        if word in seen:
            continue
        seen.add(word)
        prefix = next((p for p in prefixes if word.startswith(p) and word not in found), "")
        parts = [f"{prefix}-", word.removeprefix(prefix)] if prefix else [word]
        for part in parts:
            if part not in found:
                return None
            lines[found[part]] = None
            meaning = re.sub(r"\[\w*\]|\d[\d.]*(e[+-]?\d+)?", " ", found[part].split("=")[1])
            words += _WORD.findall(meaning)
    return list(lines)
