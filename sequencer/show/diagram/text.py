"""Text in pictures: what may stand there, how wide it runs, where it breaks."""

import unicodedata
from functools import lru_cache

from sequencer.show.text import clean

# Advance widths in thousandths of the type size, after DejaVu Sans: the widest of the sans-serif faces that
# viewers fall back to, so that a text set in Arial or Helvetica stays inside the box made for it.
_WIDTHS = {
    275: "ijlI'|",
    320: " .,·",
    340: ":;/\\",
    395: "()[]-frt!",
    500: '_*°"',
    540: "csz?",
    590: "kvxyFLT",
    640: "abdeghnopqu0123456789EBPSJ$",
    700: "ACKRVXYZ&",
    780: "DGHNOQU",
    840: "w+=<>→#~^",
    990: "mMW%@",
}
_WIDTH_OF = {char: width for width, chars in _WIDTHS.items() for char in chars}
_BOLD = 1.13


def tidy(text: str) -> str:
    """Return the text as one line of characters that SVG can hold; controls and bidi marks are dropped.

    What is left may still contain ``<``, ``&``, quotes and backslashes: whoever writes the file escapes them.
    """
    return "".join(c for c in " ".join(clean(text).split()) if unicodedata.category(c) not in ("Cn", "Co"))


@lru_cache(maxsize=4096)
def run_width(text: str, size: float, *, bold: bool = False) -> float:
    """Return how wide the text runs at most, in points, at a type size in points."""
    total = 0
    for char in text:
        width = _WIDTH_OF.get(char)
        if width is None:
            wide = unicodedata.east_asian_width(char) in "WF"
            width = 0 if unicodedata.combining(char) else 1000 if wide else 720
        total += width
    return total * size / 1000 * (_BOLD if bold else 1.0)


def wrap(text: str, width: float, size: float, *, bold: bool = False, most: int = 0) -> list[str]:
    """Break a text into lines no wider than `width` points.

    Words that are too long are broken, after an underscore where there is one. With `most`, at most so many
    lines are kept and the last one ends in an ellipsis.
    """
    lines: list[str] = []
    line = ""
    for word in text.split():
        for piece, glue in _pieces(word, width, size, bold=bold):
            joined = f"{line}{glue if line else ''}{piece}"
            if line and run_width(joined, size, bold=bold) > width:
                lines.append(line)
                line = piece
            else:
                line = joined
    if line:
        lines.append(line)
    if most and len(lines) > most:
        lines = lines[:most]
        lines[-1] = _shorten(lines[-1], width, size, bold=bold)
    return lines


def _pieces(word: str, width: float, size: float, *, bold: bool) -> list[tuple[str, str]]:
    """Split a word that is wider than a line; each piece with what joins it to the text before."""
    if run_width(word, size, bold=bold) <= width:
        return [(word, " ")]
    pieces: list[tuple[str, str]] = []
    glue = " "
    while word:
        cut = len(word)
        while cut > 1 and run_width(word[:cut], size, bold=bold) > width:
            cut -= 1
        at = word.rfind("_", 0, cut) + 1 if cut < len(word) else 0
        cut = at if at > cut // 3 else cut
        pieces.append((word[:cut], glue))
        word, glue = word[cut:], ""
    return pieces


def _shorten(line: str, width: float, size: float, *, bold: bool) -> str:
    while line and run_width(line + "…", size, bold=bold) > width:
        line = line[:-1]
    return line.rstrip() + "…"


def number(x: float) -> str:
    """Spell a binary32 number for people: six digits, no trailing zeros, never -0."""
    return f"{x + 0.0:.6g}"
