"""Text that is safe and lines up on a terminal: stripping, widths, colour."""

import os
import unicodedata
from collections.abc import Sequence
from typing import Final, TextIO

TAB: Final = "    "

_DROPPED = frozenset(
    {"Cc", "Cf", "Cs", "Zl", "Zp"}
)  # controls, bidi and other formats, surrogates, separators

_CODES = {"bold": 1, "dim": 2, "red": 31, "green": 32, "yellow": 33, "blue": 34, "magenta": 35, "cyan": 36}


def clean(text: str) -> str:
    r"""Return the text as one line without control, bidirectional and other invisible characters.

    Tabs become spaces, line ends a single space. What a stranger's file says can then neither move the
    cursor nor turn the reading direction.

    >>> clean("left\u202eknee\x1b[31m")
    'leftknee[31m'
    """
    if text.isascii() and text.isprintable():
        return text
    spaced = text.replace("\t", TAB).replace("\r\n", " ").replace("\n", " ").replace("\r", " ")
    return "".join(c for c in spaced if unicodedata.category(c) not in _DROPPED)


def width(text: str) -> int:
    """Return how many terminal columns the text takes: wide East Asian characters 2, combining marks 0.

    Widths as in Unicode Standard Annex 11 (East Asian Width).
    """
    if text.isascii():
        return len(text)
    return sum(_char_width(c) for c in text)


def _char_width(char: str) -> int:
    if unicodedata.combining(char) or unicodedata.category(char) in ("Mn", "Me"):
        return 0
    return 2 if unicodedata.east_asian_width(char) in "WF" else 1


def pad(text: str, columns: int, *, right: bool = False) -> str:
    """Fill up with spaces to a number of terminal columns; `right` puts the text at the right end."""
    room = " " * max(0, columns - width(text))
    return room + text if right else text + room


def clip(text: str, columns: int) -> str:
    """Cut to a number of terminal columns; a cut text ends in an ellipsis."""
    if width(text) <= columns:
        return text
    kept = text[:columns]
    while width(kept) > columns - 1:
        kept = kept[:-1]
    return kept.rstrip() + "…"


def table(
    head: tuple[str, ...], rows: Sequence[tuple[str, ...]], *, right: frozenset[int] = frozenset()
) -> list[str]:
    """Lay out rows under a head in columns two spaces apart; the columns in `right` are flush right."""
    cells = [tuple(clean(cell) for cell in row) for row in [head, *rows]]
    columns = [max(width(row[i]) for row in cells) for i in range(len(head))]
    return [
        "  ".join(pad(row[i], columns[i], right=i in right) for i in range(len(head))).rstrip()
        for row in cells
    ]


class Style:
    """Paints text with terminal colours, or leaves it as it is."""

    def __init__(self, *, colour: bool) -> None:
        self.colour = colour

    def __call__(self, text: str, *names: str) -> str:
        """Return the text in the named colours (bold, dim, red, green, yellow, blue, magenta, cyan)."""
        if not self.colour or not text:
            return text
        return f"\x1b[{';'.join(str(_CODES[name]) for name in names)}m{text}\x1b[0m"


PLAIN: Final = Style(colour=False)


def style_for(stream: TextIO) -> Style:
    """Colour only on a terminal that can show it, and never if NO_COLOR is set (no-color.org)."""
    wanted = not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"
    return Style(colour=wanted and stream.isatty())
