"""Runs and their report documents, as tests of the page need them."""

import functools
from dataclasses import dataclass
from pathlib import Path

import sequencer
from sequencer.api import Gait
from sequencer.history.run import Run
from sequencer.show.diagram import diagram_bytes
from sequencer.show.report.build import report_document
from sequencer.show.report.document import ReportDocument
from sequencer.show.report.page import page_bytes
from sequencer.show.report.recorded import RunSource
from support.commands import STORK

RECORDINGS = STORK.parent / "recordings"


@dataclass(frozen=True)
class Shown:
    """A walk's runs and the report of them."""

    gait: Gait
    runs: tuple[Run, ...]
    document: ReportDocument

    def write(self, path: Path) -> Path:
        """Write the page, without asking."""
        path.write_bytes(page_bytes(self.document, diagram_bytes(self.gait.plan, "svg").decode()))
        return path


@functools.cache
def stork_gait() -> Gait:
    """Read the stork's walk."""
    return sequencer.load(STORK)


@functools.cache
def stork_run(name: str) -> Run:
    """Run one of the stork's recordings, every tick kept."""
    return stork_gait().dry_run(RECORDINGS / name, executor="reference")


def shown(*names: str, notes: tuple[str, ...] = ()) -> Shown:
    """Show one of the stork's recordings, or two."""
    gait, runs = stork_gait(), tuple(map(stork_run, names))
    sources = [RunSource(name, run) for name, run in zip(names, runs, strict=True)]
    return Shown(gait, runs, report_document(gait.plan, sources, gait.check(), notes))
