"""A report from runs of one gait."""

import hashlib
import platform
from collections.abc import Sequence
from pathlib import Path

from sequencer import __version__
from sequencer.base.findings import Finding
from sequencer.plan.tables import Plan
from sequencer.show.diagram import diagram_bytes
from sequencer.show.report import document as d
from sequencer.show.report.columns import RunColumns
from sequencer.show.report.page import page_bytes
from sequencer.show.report.places import Sources
from sequencer.show.report.recorded import RunSource, recorded
from sequencer.show.report.walk import walk_of
from sequencer.show.text import clean


def report_document(
    plan: Plan, runs: Sequence[RunSource], findings: Sequence[Finding] = (), notes: Sequence[str] = ()
) -> d.ReportDocument:
    """Collect what a report of one run, or of two laid over each other, shows.

    runs: of `plan`. findings: what the check says of the gait. notes: shown on top.
    """
    sources = Sources(plan.sources)
    walk = walk_of(plan, RunColumns(plan), findings, sources)
    shown = [recorded(source, sources) for source in runs]
    title = f"{plan.name}: {' over '.join(source.name for source in runs)}"
    return d.ReportDocument(clean(title), [clean(note) for note in notes], walk, shown)


def report_bytes(
    plan: Plan, runs: Sequence[RunSource], findings: Sequence[Finding] = (), notes: Sequence[str] = ()
) -> bytes:
    """Write the report as one HTML file; see `report_document`."""
    document = report_document(plan, runs, findings, notes)
    return page_bytes(document, diagram_bytes(plan, "svg").decode())


def made_from(plan: Plan | None, recording: str | Path | None) -> list[d.Figure]:
    """Say which versions and files made a report, with their SHA-256, if they can be read."""
    found = [d.Figure("made by", f"gait-sequencer {__version__}, Python {platform.python_version()}")]
    if plan is not None:
        found.append(d.Figure("meaning of the walk", plan.sha))
    paths = [*(plan.sources if plan is not None else ()), *([recording] if recording else ())]
    for path in map(Path, paths):
        if path.is_file():
            with path.open("rb") as file:
                digest = hashlib.file_digest(file, "sha256").hexdigest()
            found.append(d.Figure(clean(path.name), f"SHA-256 {digest}"))
    return found
