"""Findings: what is wrong with a file, as plain data. Printing them is done elsewhere."""

from dataclasses import dataclass
from enum import StrEnum

from sequencer.base.places import Place


class Severity(StrEnum):
    """How bad a finding is. Notes never change the exit code."""

    ERROR = "error"
    WARNING = "warning"
    NOTE = "note"


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
    """

    code: str
    severity: Severity
    place: Place
    message: str
    expected: str = ""
    example: str = ""
    fix: str = ""
    notes: tuple[tuple[Place, str], ...] = ()


def worst_first(findings: list[Finding]) -> list[Finding]:
    """Errors, then warnings, then notes; in file order within each."""
    return sorted(findings, key=lambda f: (_RANK[f.severity], f.place, f.code, f.message))
