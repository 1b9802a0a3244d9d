"""Findings: what is wrong with a file, as plain data. Printing them is done elsewhere."""

from dataclasses import dataclass
from enum import StrEnum

from sequencer.base.places import Place


class Severity(StrEnum):
    """How bad a finding is. Notes never change the exit code."""

    ERROR = "error"
    WARNING = "warning"
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class Edit:
    """A change to a file that would settle a finding: in one mapping, `key` becomes `value`.

    place: where the mapping begins, or with `at_key` the key under which it stands.
    value: what stands there then, as YAML in one line.
    length: how long it lets a guard or phase wait: (0, milliseconds), or (1, fresh samples), which only a
        living sensor gives. Of two edits of one key the longer is the safe one.
    """

    place: Place
    key: str
    value: str
    length: tuple[int, float]
    at_key: bool = False


_RANK = {Severity.ERROR: 0, Severity.WARNING: 1, Severity.NOTE: 2}


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is wrong, or worth knowing, about a file.

    code: a slug such as ``dead-end``, a key of `sequencer.base.codes.CODES`.
    message: one sentence that says what is wrong, with the names involved.
    expected: what was expected instead (unreadable input), or empty.
    example: values that show it ("left_knee 12 mm, right_knee 3 mm"), or empty.
    fix: the likely mend, or empty.
    notes: other places that matter, each with a short text.
    edits: what would settle it, if that is mechanical.
    """

    code: str
    severity: Severity
    place: Place
    message: str
    expected: str = ""
    example: str = ""
    fix: str = ""
    notes: tuple[tuple[Place, str], ...] = ()
    edits: tuple[Edit, ...] = ()


def worst_first(findings: list[Finding]) -> list[Finding]:
    """Errors, then warnings, then notes; in file order within each."""
    return sorted(findings, key=lambda f: (_RANK[f.severity], f.place, f.code, f.message))
