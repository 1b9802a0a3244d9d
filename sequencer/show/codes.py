"""What a finding's code means, as text for people."""

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
        parts.append(style("Good", "bold") + "\n" + textwrap.indent(info.good.strip("\n"), "  "))
    return "\n\n".join(part for part in parts if part.strip())


def code_list(infos: Iterable[CodeInfo], style: Style = PLAIN) -> str:
    """Write one line for each code, in alphabetical order."""
    rows = [(info.code, info.severity.value, info.title) for info in sorted(infos, key=lambda i: i.code)]
    head, *lines = table(("code", "severity", "what"), rows)
    return "\n".join([style(head, "bold"), *lines, "", "`sequencer explain CODE` tells more."])
