"""Findings and errors as text for people: place, message, the source line with a caret, the likely mend."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from sequencer.base.errors import DifferenceError, FileErrors, SequencerError, ToolError, TraceError
from sequencer.base.findings import Finding, Severity
from sequencer.base.places import NOWHERE, Place
from sequencer.show.text import PLAIN, TAB, Style, clean, clip, width

if TYPE_CHECKING:
    from sequencer.check.accepted import Accepted

MOST_SOURCE_BYTES = 4_000_000  # a longer file is shown without its source lines
MOST_COLUMNS = 100  # of a source line; a longer one is cut around the caret
BEFORE_CARET = 60

_COLOURS = {Severity.ERROR: "red", Severity.WARNING: "yellow", Severity.NOTE: "cyan"}


class Sources:
    """Reads the lines of files that findings point into, each file once."""

    def __init__(self) -> None:
        self._lines: dict[str, list[str]] = {}

    def line(self, place: Place) -> str | None:
        """Return the line at a place, or None if it cannot be read or does not exist."""
        if not place.file or place.line < 1:
            return None
        if place.file not in self._lines:
            self._lines[place.file] = _read_lines(Path(place.file))
        lines = self._lines[place.file]
        return lines[place.line - 1] if place.line <= len(lines) else None


def _read_lines(path: Path) -> list[str]:
    try:
        if not path.is_file() or path.stat().st_size > MOST_SOURCE_BYTES:
            return []
        text = path.read_bytes().decode("utf-8", errors="replace")
    except OSError:
        return []
    # only the line ends that YAML 1.2 knows: str.splitlines would count form feeds and others too
    return text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n").split("\n")


def caret_lines(line: str, column: int) -> tuple[str, str]:
    """Return the line made safe to print and, below it, a caret under its `column` (from 1).

    Tabs are widened, wide characters counted twice, invisible ones left out; a long line is cut on both
    sides of the caret.
    """
    before = clean(line[: max(0, column - 1)])
    after = clean(line[max(0, column - 1) :])
    if width(before) > BEFORE_CARET + 1:
        while width(before) > BEFORE_CARET:
            before = before[1:]
        before = "…" + before
    after = clip(after, MOST_COLUMNS - width(before))
    return before + after, " " * width(before) + "^"


def _is_binary(line: str) -> bool:
    """Tell whether a line is no text at all, such as that of a packed file; one wrong byte is still shown."""
    head = line[:200]
    return sum(char == "\ufffd" or (char < " " and char != "\t") for char in head) > len(head) / 10 + 1


def _source_block(place: Place, sources: Sources, style: Style) -> list[str]:
    line = sources.line(place)
    if line is None or not line.strip() or _is_binary(line):
        return []
    text, caret = caret_lines(line, place.column)
    number = str(place.line)
    gutter = " " * len(number)
    return [
        f"  {style(number + ' |', 'blue')} {text}",
        f"  {style(gutter + ' |', 'blue')} {style(caret, 'green', 'bold')}",
    ]


def place_text(place: Place) -> str:
    """Spell a place as file:line:column, as much of it as is known."""
    if not place.file:
        return ""
    name = clean(place.file)
    return f"{name}:{place.line}:{place.column}" if place.line > 0 else name


def _headline(place: Place, severity: Severity, message: str, style: Style) -> str:
    where = place_text(place)
    start = f"{style(where + ':', 'bold')} " if where else ""
    return f"{start}{style(severity.value + ':', _COLOURS[severity], 'bold')} {clean(message)}"


def _more(label: str, text: str) -> list[str]:
    return [f"{TAB}{label}: {clean(text)}"] if text else []


def finding_text(finding: Finding, sources: Sources, style: Style = PLAIN, *, why: str = "") -> str:
    """Write one finding: headline, source line with caret, why it matters, expected, example, fix, notes."""
    code = style(f"[{clean(finding.code)}]", "dim")
    lines = [f"{_headline(finding.place, finding.severity, finding.message, style)} {code}"]
    lines += _source_block(finding.place, sources, style)
    lines += _more("why", why)
    lines += _more("expected", finding.expected)
    lines += _more("for example", finding.example)
    lines += _more("fix", finding.fix)
    for place, text in finding.notes:
        where = place_text(place)
        lines.append(f"{TAB}see {where}: {clean(text)}" if where else f"{TAB}see also: {clean(text)}")
    return "\n".join(lines)


def accepted_text(
    accepted: "Sequence[Accepted]", style: Style = PLAIN, sources: Sources | None = None
) -> str:
    """Write findings that are accepted, each with its reason and where the file says so."""
    sources = sources or Sources()
    blocks = []
    for one in accepted:
        lines = [finding_text(one.finding, sources, style)]
        lines.append(f"{TAB}accepted in {place_text(one.place)}: {clean(one.because)}")
        blocks.append("\n".join(lines))
    return "\n\n".join(blocks)


def count_text(findings: Iterable[Finding]) -> str:
    """Count findings by severity: "2 errors, 1 warning", or "nothing found"."""
    counts = Counter(f.severity for f in findings)
    parts = [f"{counts[s]} {s.value}{'s' if counts[s] > 1 else ''}" for s in Severity if counts[s]]
    return ", ".join(parts) if parts else "nothing found"


def findings_text(
    findings: Sequence[Finding],
    style: Style = PLAIN,
    *,
    most: int | None = None,
    sources: Sources | None = None,
    whys: Mapping[str, str] | None = None,
    accepted: int = 0,
) -> str:
    """Write findings in the given order, `most` of them, and a last line that counts them all.

    whys: why a code matters; told with the first error or warning of the code. accepted: how many more
    there are that the files accept.
    """
    sources, untold = sources or Sources(), dict(whys or {})
    shown = findings if most is None else findings[:most]
    blocks = []
    for finding in shown:
        why = untold.pop(finding.code, "") if finding.severity != Severity.NOTE else ""
        blocks.append(finding_text(finding, sources, style, why=why))
    last = count_text(findings)
    if len(shown) < len(findings):
        last += f"; the first {len(shown)} are shown, --all shows the rest"
    if accepted:
        last += f"; {accepted} more {'is' if accepted == 1 else 'are'} accepted"
    return "\n\n".join([*blocks, style(last, "bold")])


def error_text(error: SequencerError, style: Style = PLAIN) -> str:
    """Write an error of ours: a file's errors as findings, all else as one line, its place and hint."""
    if isinstance(error, FileErrors):
        return findings_text(error.findings, style, most=10)
    place = error.place if isinstance(error, TraceError) else NOWHERE
    lines = [_headline(place, Severity.ERROR, error.message, style)]
    if isinstance(error, TraceError):
        lines += _source_block(place, Sources(), style)
        lines += _more("expected", error.expected)
    lines += _more("fix", error.hint)
    if isinstance(error, ToolError):
        lines += [TAB + clean(line) for line in error.output.splitlines()[:20]]
    if isinstance(error, DifferenceError):
        lines += [clean(line) for line in error.report.splitlines()]
    return "\n".join(lines)
