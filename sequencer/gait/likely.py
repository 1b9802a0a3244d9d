"""What was probably meant by a file that is no gait, or by YAML that a slip of the pen broke."""

import re
from pathlib import Path

# how files of other kinds begin, and what to call them
_BEGINNINGS = (
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"GIF8", "a picture"),
    (b"%PDF-", "a drawing"),
    (b"<svg", "a drawing"),
    (b"digraph", "a drawing"),
    (b"PAR1", "a recording"),
    (b"\x1f\x8b", "a packed file"),
    (b"PK\x03\x04", "a packed file"),
    (b"\x7fELF", "a program"),
    (b"#include", "source code"),
    (b"#pragma", "source code"),
    (b"#ifndef", "source code"),
)
_ENDINGS = {
    ".svg": "a drawing",
    ".csv": "a recording",
    ".tsv": "a recording",
    ".cpp": "source code",
    ".h": "source code",
    ".feature": "a description of what must come out",
}
_XML_DRAWING = re.compile(rb"<\?xml\b[^>]*>.{0,2000}?<svg\b", re.DOTALL)
_YAML_KEY = re.compile(rb"^(gait|machine|trace)[ \t]*:", re.MULTILINE)
_NO_COMMA = re.compile(r"did not find expected ',' or '([]}])'")
_WORD = re.compile(r"[\w<>]+")
_LAST_WORD = re.compile(r"([\w<>]+)[\"']?\s*$")
_WHOLE = re.compile(r"[-+]?[0-9]{1,9}")
_FRACTION = re.compile(r"[0-9]{1,9}( *[A-Za-z%][A-Za-z/%]*)?")


def other_kind(path: str | Path, data: bytes, wanted: str) -> tuple[str, str]:
    """Say what a file is that is surely no YAML of ours ("a drawing"), and the likely mend; else nothing.

    wanted: what it should be, "a gait file" or another.
    """
    head = data[:4096].removeprefix(b"\xef\xbb\xbf").lstrip()
    what = next((what for begin, what in _BEGINNINGS if head.startswith(begin)), "")
    if not what and _XML_DRAWING.match(head):
        what = "a drawing"
    if not what and not _YAML_KEY.search(data):
        what = _ENDINGS.get(Path(path).suffix.lower(), "")
    if not what:
        return "", ""
    if what == "a recording" and wanted == "a gait file":
        return what, f"a recording comes after the gait: sequencer dry-run GAIT {Path(path).name}"
    if what == "a packed file":
        return what, "unpack it first"
    ending = {"a gait file": ".gait.yaml", "a machine file": ".machine.yaml"}.get(wanted, ".trace.yaml")
    stem = Path(path).name.split(".")[0]
    beside = Path(path).with_name(stem + ending) if stem else None
    return what, f"did you mean {beside}?" if beside is not None and beside.is_file() else ""


def missing_comma(problem: str, lines: list[str], at: tuple[int, int], begin: int) -> tuple[str, str] | None:
    """Say what an unfinished list or block in brackets lacks, and the likely mend; None for other problems.

    lines: those of the file. at: line and column, from 0, of where the reader stopped. begin: the line of the
    opening bracket.
    """
    found = _NO_COMMA.match(problem)
    if found is None:
        return None
    closing = found[1]
    opening = "{" if closing == "}" else "["
    line, column = at
    text = lines[line] if line < len(lines) else ""
    rest = text[column:]
    word = _LAST_WORD.search(text[:column]) if rest.startswith(":") else _WORD.match(rest)
    close = f"close the {opening} of line {begin + 1} with {closing}"
    message = f"a comma or the closing {closing} is missing"
    if word is None and (line != begin or not rest.startswith(("{", "["))):
        return message, close
    before = f"write a comma before {word[0].strip() if word else rest[0]}"
    return message, before if line == begin else f"{close}, or {before}"


def decimal_comma(whole: str, fraction: str) -> str:
    """Give the number that ``12,5 deg`` was meant to be, read as two things in brackets; or nothing."""
    if _WHOLE.fullmatch(whole) and _FRACTION.fullmatch(fraction):
        return f"{whole}.{fraction}"
    return ""
