"""Changes of a file as a unified diff, which `patch -p0` can read."""

import difflib

from sequencer.show.text import PLAIN, Style, clean

_COLOURS = {"+": "green", "-": "red", "@": "cyan"}
_NO_LINE_END = "\\ No newline at end of file"


def diff_text(name: str, before: str, after: str, style: Style = PLAIN, *, safe: bool = False) -> str:
    """Write the difference of two texts of a file.

    safe: for a terminal; characters that could harm it are left out, and the diff may not apply then.
    """
    lines: list[str] = []
    for line in difflib.unified_diff(_lines(before), _lines(after), clean(name), clean(name)):
        whole = line.endswith("\n")
        text = line.removesuffix("\n")
        shown = clean(text) if safe else text
        colour = _COLOURS.get(line[:1], "") if not line.startswith(("+++", "---")) else "bold"
        lines.append(style(shown, colour) if colour else shown)
        if not whole:
            lines.append(_NO_LINE_END)
    return "".join(line + "\n" for line in lines)


def _lines(text: str) -> list[str]:
    """Split at line feeds only, as `patch` does; a carriage return belongs to its line."""
    lines = text.split("\n")
    return [*(line + "\n" for line in lines[:-1]), *([lines[-1]] if lines[-1] else [])]
