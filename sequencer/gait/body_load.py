"""Loading a body file, with every error of it."""

from dataclasses import dataclass
from pathlib import Path as FilePath

from sequencer.base.findings import Finding, Severity
from sequencer.gait.body_model import BodyFile
from sequencer.gait.expand import Expander
from sequencer.gait.nodes import Item, Mapping, Path, Positions
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
    wrong = _other_kind(root)
    if wrong is not None:
        return LoadedBody(root.place.file, None, Positions({}, {}), frozenset(), (*findings, wrong))
    done = validate(BodyFile, root)
    told = tuple(dict.fromkeys(findings + done.findings))
    return LoadedBody(root.place.file, done.model, done.where, done.cut, told)


def _other_kind(root: Item) -> Finding | None:
    """Say so at once if a gait or a machine file was given in place of a body."""
    if not isinstance(root, Mapping) or root.get("body") is not None:
        return None
    kind = "gait" if root.get("gait") is not None else "machine" if root.get("machine") is not None else ""
    if not kind:
        return None
    message = f"{root.place.file} is a {kind} file, not a body file"
    fix = "give the file that begins with body:, such as stork.body.yaml"
    return Finding("other-kind", Severity.ERROR, root.place, message, expected="body: NAME", fix=fix)
