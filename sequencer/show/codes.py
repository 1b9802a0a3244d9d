"""What a finding's code means, as text for people."""

import difflib
import textwrap
from collections.abc import Iterable

from sequencer.base.codeinfo import CodeInfo
from sequencer.show.text import PLAIN, Style, clean, table

COLUMNS = 88


def _wrapped(text: str, indent: str = "") -> str:
    paragraphs = [clean(p) for p in text.split("\n\n") if p.strip()]
    return "\n\n".join(
        textwrap.fill(p, COLUMNS, initial_indent=indent, subsequent_indent=indent) for p in paragraphs
    )


def code_text(info: CodeInfo, style: Style = PLAIN) -> str:
    """Write everything that is known about one code."""
    parts = [
        style(f"{info.code}: {info.title}", "bold") + f" ({info.severity.value})",
        _wrapped(info.explanation),
        style("Why it matters", "bold") + "\n" + _wrapped(info.why, "  "),
    ]
    if info.bad:
        parts.append(style("Bad", "bold") + "\n" + textwrap.indent(info.bad.strip("\n"), "  "))
    if info.good:
        parts.append(style("Mended", "bold") + "\n" + "\n".join(_mending(info.bad, info.good, style)))
    return "\n\n".join(part for part in parts if part.strip())


def _mending(bad: str, good: str, style: Style) -> list[str]:
    """Write what changes from the bad example to the good one, two lines around each change."""
    lines = list(difflib.unified_diff(bad.splitlines(), good.splitlines(), n=2, lineterm=""))[2:]
    colours = {"+": "green", "-": "red"}
    return [
        style(f"{line[0]} {line[1:]}".rstrip(), *([colours[line[0]]] if line[0] in colours else []))
        if line[:1] in "+- "
        else "  ..."
        for line in lines
    ]


def code_list(infos: Iterable[CodeInfo], style: Style = PLAIN) -> str:
    """Write one line for each code, in alphabetical order."""
    rows = [(info.code, info.severity.value, info.title) for info in sorted(infos, key=lambda i: i.code)]
    head, *lines = table(("code", "severity", "what"), rows)
    return "\n".join([style(head, "bold"), *lines, "", "`sequencer explain CODE` tells more."])
