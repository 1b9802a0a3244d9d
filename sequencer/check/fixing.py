"""Settling mechanical findings: their edits made in the texts of the files, until none is left to make."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from sequencer.base.errors import FileErrors
from sequencer.base.findings import Edit
from sequencer.base.places import Place
from sequencer.check.edits import Source, Splice, spliced
from sequencer.check.run import mechanical_findings
from sequencer.plan.build import load_plan
from sequencer.plan.tables import Plan

MOST_ROUNDS = 10  # a longer hold may need a longer timeout, and so on


@dataclass(frozen=True, slots=True)
class Fixed:
    """What the files said, and what they say once everything mechanical is settled.

    before, after: the text of each file by the name under which it is shown; a file without changes stands
        in both. settled: codes and places of the findings whose edits were made.
    """

    before: dict[str, str]
    after: dict[str, str]
    settled: tuple[tuple[str, Place], ...]

    @property
    def changed(self) -> list[str]:
        """The files that change, in the order in which they were read."""
        return [name for name, text in self.before.items() if self.after[name] != text]


def fix(path: str | Path, machine: str | Path | None = None) -> Fixed:
    """Make the edits of all mechanical findings of a gait and its machine file, in memory only.

    Raises FileErrors if the files can't be used as they are.
    """
    before: dict[str, str] = {}
    plan = load_plan(path, machine, before)
    texts, settled = dict(before), dict[tuple[str, Place], None]()
    for _ in range(MOST_ROUNDS):
        findings = [finding for finding in mechanical_findings(plan) if finding.edits]
        edits = chosen(edit for finding in findings for edit in finding.edits)
        made = _made(path, machine, texts, edits)
        if made is None:
            break
        plan, new = made
        settled.update(
            dict.fromkeys((f.code, f.place) for f in findings if new[f.place.file] != texts[f.place.file])
        )
        texts = new
    return Fixed(before, texts, tuple(settled))


def chosen(edits: Iterable[Edit]) -> list[Edit]:
    """Return one edit for each key of each mapping: the longest; none where two of that length differ."""
    groups: dict[tuple[Place, bool, str], list[Edit]] = defaultdict(list)
    for edit in edits:
        groups[edit.place, edit.at_key, edit.key].append(edit)
    found = []
    for group in groups.values():
        longest = max(edit.length for edit in group)
        best = {edit for edit in group if edit.length == longest}
        if len(best) == 1:
            found.append(best.pop())
    return found


def splices_of(texts: dict[str, str], edits: Iterable[Edit]) -> dict[str, list[Splice]]:
    """Return the changes of each file that has any."""
    by_file: dict[str, list[Edit]] = defaultdict(list)
    for edit in edits:
        by_file[edit.place.file].append(edit)
    found = {name: Source(texts[name]).splices(of_file) for name, of_file in by_file.items()}
    return {name: splices for name, splices in found.items() if splices}


def _made(
    path: str | Path, machine: str | Path | None, texts: dict[str, str], edits: list[Edit]
) -> tuple[Plan, dict[str, str]] | None:
    """Make edits, all that the files can be loaded with; None if nothing changes."""
    try:
        return _loaded(path, machine, texts, edits)
    except FileErrors:
        fit = [edit for edit in edits if _fits(path, machine, texts, edit)]
    try:
        return _loaded(path, machine, texts, fit)
    except FileErrors:
        return None


def _fits(path: str | Path, machine: str | Path | None, texts: dict[str, str], edit: Edit) -> bool:
    try:
        return _loaded(path, machine, texts, [edit]) is not None
    except FileErrors:
        return False


def _loaded(
    path: str | Path, machine: str | Path | None, texts: dict[str, str], edits: list[Edit]
) -> tuple[Plan, dict[str, str]] | None:
    changes = splices_of(texts, edits)
    if not changes:
        return None
    new = {**texts, **{name: spliced(texts[name], splices) for name, splices in changes.items()}}
    return load_plan(path, machine, new), new
