"""Loading a body file, with every error of it."""

from dataclasses import dataclass
from pathlib import Path as FilePath

from sequencer.base.findings import Finding
from sequencer.gait.body_model import BodyFile
from sequencer.gait.expand import Expander
from sequencer.gait.nodes import Path, Positions
from sequencer.gait.reading import Unreadable, read_tree
from sequencer.gait.validate import validate


@dataclass(frozen=True, slots=True)
class LoadedBody:
    """A body file as far as it could be read; `cut` are paths that were left out because of an error."""

    name: str
    model: BodyFile | None
    where: Positions
    cut: frozenset[Path]
    findings: tuple[Finding, ...]


def load_body_file(path: str | FilePath) -> LoadedBody:
    """Read a body file (``-`` for standard input)."""
    try:
        root, findings = read_tree(path, "a body file")
    except Unreadable as error:
        return LoadedBody(error.finding.place.file, None, Positions({}, {}), frozenset(), (error.finding,))
    expander = Expander()
    root = expander.expand(root)
    findings = findings + expander.findings
    if expander.overran:
        return LoadedBody(root.place.file, None, Positions({}, {}), frozenset(), tuple(findings))
    done = validate(BodyFile, root)
    told = tuple(dict.fromkeys(findings + done.findings))
    return LoadedBody(root.place.file, done.model, done.where, done.cut, told)
