"""Findings, runs and plans as JSON documents for other programs.

Every document is an object with ``document`` (what it is), ``version`` (of its form; it rises when a key
changes its meaning or goes, not when one is added) and ``tool``. Numbers that JSON can't hold (NaN, the
infinities) become null.
"""

import json
import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any, Final

from sequencer import __version__
from sequencer.base.codeinfo import CodeInfo
from sequencer.base.errors import DifferenceError, FileErrors, SequencerError, ToolError, TraceError
from sequencer.base.findings import Finding, Severity
from sequencer.base.places import NOWHERE, Place
from sequencer.show.text import clean

if TYPE_CHECKING:
    from sequencer.check.accepted import Accepted

VERSIONS: Final = dict.fromkeys(
    ("findings", "codes", "run", "plan", "files", "folder", "proof", "rounding", "rehearsal"), 1
)


def document(kind: str, content: Mapping[str, Any]) -> str:
    """Wrap the content as a document of a known kind and spell it as JSON, two spaces deep."""
    whole = {"document": kind, "version": VERSIONS[kind], "tool": f"gait-sequencer {__version__}", **content}
    return json.dumps(_plain(whole), indent=2, ensure_ascii=False, allow_nan=False)


def _plain(value: Any) -> Any:
    """Turn tuples, numbers of other libraries and numbers that JSON lacks into what json can write."""
    if isinstance(value, Mapping):
        return {str(key): _plain(part) for key, part in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(part) for part in value]
    if hasattr(value, "item") and not isinstance(value, (str, bytes)):  # a numpy scalar
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def place_object(place: Place) -> dict[str, Any] | None:
    """Return a place as an object, or None where there is none."""
    return {"file": place.file, "line": place.line, "column": place.column} if place.file else None


def finding_object(finding: Finding) -> dict[str, Any]:
    """Return a finding as an object; texts that are empty stay, so that the keys are always there."""
    return {
        "code": finding.code,
        "severity": finding.severity.value,
        "place": place_object(finding.place),
        "message": finding.message,
        "expected": finding.expected,
        "example": finding.example,
        "fix": finding.fix,
        "notes": [{"place": place_object(place), "text": text} for place, text in finding.notes],
        "edits": [
            {"place": place_object(e.place), "at_key": e.at_key, "key": e.key, "value": e.value}
            for e in finding.edits
        ],
    }


def findings_document(findings: Sequence[Finding], accepted: "Sequence[Accepted]" = ()) -> str:
    """Return all findings, in the order given, with how many there are of each severity.

    Those that the files accept stand apart, each with its reason.
    """
    counts = Counter(f.severity for f in findings)
    content = {
        "counts": {s.value: counts[s] for s in Severity},
        "findings": [finding_object(f) for f in findings],
        "accepted": [
            {
                **finding_object(one.finding),
                "because": clean(one.because),
                "accepted_at": place_object(one.place),
            }
            for one in accepted
        ],
    }
    return document("findings", content)


def error_document(error: SequencerError) -> str:
    """Return an error as a document of findings: a file's own, or one without a code for all else."""
    if isinstance(error, FileErrors):
        return findings_document(error.findings)
    place, expected, output = NOWHERE, "", ""
    if isinstance(error, TraceError):
        place, expected = error.place, error.expected
    elif isinstance(error, ToolError):
        output = error.output
    elif isinstance(error, DifferenceError):
        output = error.report
    notes = ((NOWHERE, output),) if output else ()
    finding = Finding("", Severity.ERROR, place, error.message, expected, fix=error.hint, notes=notes)
    return findings_document([finding])


def codes_document(infos: Sequence[CodeInfo]) -> str:
    """Return what is known about finding codes."""
    return document("codes", {"codes": [{**asdict(i), "severity": i.severity.value} for i in infos]})
