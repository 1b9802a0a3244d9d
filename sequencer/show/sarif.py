"""Findings as a SARIF log, which code hosts and editors read.

Static Analysis Results Interchange Format (SARIF) Version 2.1.0, OASIS Standard, 27 March 2020; the numbers
of sections below are of that text.
"""

import hashlib
import json
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import PurePath
from typing import Any, Final
from urllib.parse import quote

from sequencer import __version__
from sequencer.base.codeinfo import CodeInfo
from sequencer.base.codes import CODES
from sequencer.base.findings import Edit, Finding, Severity
from sequencer.base.places import Place
from sequencer.check.accepted import Accepted
from sequencer.check.edits import Source, Splice

SCHEMA: Final = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
VERSION: Final = "2.1.0"
TOOL: Final = "gait-sequencer"
FINGERPRINT: Final = "gaitFinding/v1"
UNNAMED: Final = "error"  # the rule of findings without a code
_LEVELS: Final = {Severity.ERROR: "error", Severity.WARNING: "warning", Severity.NOTE: "note"}

Object = dict[str, Any]


def sarif_document(
    findings: Sequence[Finding],
    accepted: Sequence[Accepted] = (),
    *,
    texts: Mapping[str, str] | None = None,
    unreadable: bool = False,
) -> str:
    """Return a log of one run: open findings, and accepted ones as suppressed results.

    texts: what the files say, by the names in the findings' places; without the text of a file no changes
    of it are proposed. unreadable: a file could not be used, so that not all checks were made.
    """
    everything = [*findings, *(one.finding for one in accepted)]
    codes = sorted({finding.code or UNNAMED for finding in everything})
    writer = _Writer(codes, {name: Source(text) for name, text in (texts or {}).items()}, everything)
    results = [{**writer.result(finding), "suppressions": []} for finding in findings]
    results += [{**writer.result(one.finding), "suppressions": [_suppression(one)]} for one in accepted]
    run = {
        "tool": {"driver": _driver(codes)},
        "invocations": [{"executionSuccessful": not unreadable}],
        "columnKind": "unicodeCodePoints",  # section 3.14.17; how places count
        "results": results,
    }
    log = {"$schema": SCHEMA, "version": VERSION, "runs": [run]}
    return json.dumps(log, indent=2, allow_nan=False)  # all ASCII: nothing turns the reading direction


def _driver(codes: list[str]) -> Object:
    rules = [_rule(code, CODES.get(code)) for code in codes]
    return {"name": TOOL, "semanticVersion": __version__, "rules": rules}


def _rule(code: str, info: CodeInfo | None) -> Object:
    """Describe a code: section 3.49."""
    if info is None:
        return {"id": code, "shortDescription": {"text": "The file or the command can't be used."}}
    parts = [info.explanation, f"Why it matters: {info.why}" if info.why else ""]
    text = "\n\n".join(part for part in parts if part)
    examples = [("Bad", info.bad), ("Mended", info.good)]
    shown = [f"{title}:\n\n```yaml\n{example.strip()}\n```" for title, example in examples if example]
    return {
        "id": code,
        "name": "".join(word.capitalize() for word in code.split("-")),
        "shortDescription": {"text": f"{info.title[:1].upper()}{info.title[1:]}."},
        "fullDescription": {"text": info.explanation},
        "help": {"text": text, "markdown": "\n\n".join([text, *shown])},
        "defaultConfiguration": {"level": _LEVELS[info.severity]},
    }


class _Writer:
    """Writes results; counts equal findings, so that each has a fingerprint of its own."""

    def __init__(self, codes: list[str], sources: dict[str, Source], findings: Sequence[Finding]) -> None:
        self.rules = {code: index for index, code in enumerate(codes)}
        self.sources = sources
        self.splices: dict[Edit, Splice] = {}
        for name, source in sources.items():
            edits = (edit for finding in findings for edit in finding.edits if edit.place.file == name)
            self.splices.update(source.changes(edits))
        self.seen: Counter[tuple[str, ...]] = Counter()

    def result(self, finding: Finding) -> Object:
        """Write one result: section 3.27."""
        code = finding.code or UNNAMED
        result: Object = {
            "ruleId": code,
            "ruleIndex": self.rules[code],
            "level": _LEVELS[finding.severity],
            "message": {"text": _message(finding)},
            "partialFingerprints": {FINGERPRINT: self._fingerprint(finding)},
        }
        if finding.place.file:
            result["locations"] = [{"physicalLocation": _location(finding.place)}]
        related = [_related(number, place, text) for number, (place, text) in enumerate(finding.notes, 1)]
        if related:
            result["relatedLocations"] = related
        fixes = self._fixes(finding)
        if fixes:
            result["fixes"] = fixes
        return result

    def _fingerprint(self, finding: Finding) -> str:
        """Hash what does not change when lines are added elsewhere: no line, no folder."""
        key = (finding.code, PurePath(finding.place.file).name, finding.message)
        number = self.seen[key]
        self.seen[key] += 1
        return hashlib.sha256("\0".join([*key, str(number)]).encode()).hexdigest()[:32]

    def _fixes(self, finding: Finding) -> list[Object]:
        """Propose the finding's edits as one fix: section 3.55."""
        changes = [change for edit in finding.edits for change in self._change(edit)]
        if not changes:
            return []
        return [{"description": {"text": finding.fix or "mend it"}, "artifactChanges": changes}]

    def _change(self, edit: Edit) -> list[Object]:
        splice = self.splices.get(edit)
        if splice is None:
            return []
        source = self.sources[edit.place.file]
        (line, column), (end_line, end_column) = map(source.line_and_column, (splice.start, splice.end))
        region = {"startLine": line, "startColumn": column, "endLine": end_line, "endColumn": end_column}
        replacement = {"deletedRegion": region, "insertedContent": {"text": splice.text}}
        return [{"artifactLocation": _artifact(edit.place.file), "replacements": [replacement]}]


def _message(finding: Finding) -> str:
    parts = [
        finding.message,
        f"Expected: {finding.expected}" if finding.expected else "",
        f"For example: {finding.example}" if finding.example else "",
        f"Fix: {finding.fix}" if finding.fix else "",
    ]
    return "\n".join(part for part in parts if part)


def _related(number: int, place: Place, text: str) -> Object:
    related: Object = {"id": number, "message": {"text": text}}
    if place.file:
        related["physicalLocation"] = _location(place)
    return related


def _location(place: Place) -> Object:
    location: Object = {"artifactLocation": _artifact(place.file)}
    if place.line > 0:
        location["region"] = {"startLine": place.line, "startColumn": max(1, place.column)}
    return location


def _artifact(file: str) -> Object:
    """Name a file: relative to the folder in which the check ran, else by its whole path."""
    path = PurePath(file)
    if path.is_absolute():
        return {"uri": path.as_uri()}
    # ./ because the first part of a relative reference can't hold a colon (RFC 3986, section 4.2)
    reference = quote(path.as_posix())
    return {"uri": reference if ":" not in reference else f"./{reference}", "uriBaseId": "%SRCROOT%"}


def _suppression(one: Accepted) -> Object:
    """Say that and where the file accepts it: section 3.35."""
    return {
        "kind": "inSource",
        "status": "accepted",
        "justification": one.because,
        "location": {"physicalLocation": _location(one.place)},
    }
