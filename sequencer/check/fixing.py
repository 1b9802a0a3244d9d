"""Settling mechanical findings: their edits made in the texts of the files, until none is left to make."""

import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from sequencer.base.errors import FileErrors, MisuseError
from sequencer.base.files import write_all
from sequencer.base.findings import Edit
from sequencer.base.places import Place
from sequencer.check.edits import Source, Splice, spliced
from sequencer.check.run import mechanical_findings
from sequencer.gait.reading import Texts
from sequencer.plan.build import load_plan
from sequencer.plan.tables import Plan

MOST_ROUNDS = 10  # a longer hold may need a longer timeout, and so on
MOST_TRIES = 64  # of loading the files to find edits that don't fit
_LENGTH = re.compile(r"[\d.]+ (samples|ms|s)")
BOM = b"\xef\xbb\xbf"  # the reader leaves it out


@dataclass(frozen=True, slots=True)
class Fixed:
    """What the files said, and what they say once everything mechanical is settled.

    before, after: the text of each file by the name under which it is shown; a file without changes stands
        in both. settled: codes and places of the findings whose edits were made.
    """

    before: Texts
    after: Texts
    settled: tuple[tuple[str, Place], ...]

    @property
    def changed(self) -> list[str]:
        """The files that change, in the order in which they were read."""
        return [name for name, text in self.before.items() if self.after[name] != text]


def fix(paths: Sequence[str | Path], machine: str | Path | None = None, texts: Texts | None = None) -> Fixed:
    """Make the edits of all mechanical findings of some gaits and their machine files, in memory only.

    machine: a machine file to use instead of those that the gaits name. texts: what has been read of the
    files already. Raises FileErrors if the files can't be used as they are.
    """
    return _Fixing(paths, machine, texts or {}).run()


class _Fixing:
    def __init__(self, paths: Sequence[str | Path], machine: str | Path | None, texts: Texts) -> None:
        self.paths, self.machine = paths, machine
        self.texts = dict(texts)
        self.plans = self._plans(self.texts)
        self.before = dict(self.texts)
        self.tries = 0

    def run(self) -> Fixed:
        settled: dict[tuple[str, Place], None] = {}
        for _ in range(MOST_ROUNDS):
            findings = [finding for plan in self.plans for finding in mechanical_findings(plan)]
            edits = chosen(edit for finding in findings for edit in finding.edits)
            made = self._make(edits)
            if not made:
                break
            for finding in findings:
                if {_key(edit) for edit in finding.edits} & {_key(edit) for edit in made}:
                    settled[finding.code, finding.place] = None
        return Fixed(self.before, self.texts, tuple(settled))

    def _plans(self, texts: Texts) -> list[Plan]:
        return [load_plan(path, self.machine, texts) for path in self.paths]

    def _make(self, edits: list[Edit]) -> set[Edit]:
        """Make the edits with which the files can still be loaded; return those that changed something."""
        made = self._try(edits)
        if made is None:
            self.tries = MOST_TRIES
            made = self._try(self._loadable(edits))
        return made or set()

    def _loadable(self, edits: list[Edit]) -> list[Edit]:
        """Leave out the edits with which the files can't be loaded, by halving; beyond MOST_TRIES all."""
        self.tries -= 1
        if self.tries < 0:
            return []
        if self._try(edits, keep=False) is not None:
            return edits
        half = len(edits) // 2
        return [*self._loadable(edits[:half]), *self._loadable(edits[half:])] if half else []

    def _try(self, edits: list[Edit], *, keep: bool = True) -> set[Edit] | None:
        """Make edits and return those that changed something; None if the files can't be loaded then."""
        changes = changes_of(self.texts, edits)
        if not changes:
            return set()
        new = {
            **self.texts,
            **{name: spliced(self.texts[name], [*of.values()]) for name, of in changes.items()},
        }
        try:
            plans = self._plans(new)
        except FileErrors:
            return None
        if keep:
            self.texts, self.plans = new, plans
        return {edit for of_file in changes.values() for edit in of_file}


def write(fixed: Fixed) -> list[Path]:
    """Write the files that change, all of them or none; return their paths.

    Raises MisuseError if a file was changed by someone else meanwhile.
    """
    files: dict[Path, bytes] = {}
    for name in fixed.changed:
        path = Path(name).resolve()  # a link stays a link
        data = path.read_bytes()
        mark = BOM if data.startswith(BOM) else b""
        if path in files or data != mark + fixed.before[name].encode():
            raise MisuseError(f"{name} was changed meanwhile; nothing was written", hint="run it again")
        files[path] = mark + fixed.after[name].encode()
    write_all(files.items())
    return list(files)


def _key(edit: Edit) -> tuple[Place, bool, str]:
    return edit.place, edit.at_key, edit.key


def chosen(edits: Iterable[Edit]) -> list[Edit]:
    """Return one edit for each key of each mapping: the longest; none if they differ in more than that."""
    groups: dict[tuple[Place, bool, str], list[Edit]] = defaultdict(list)
    for edit in edits:
        groups[_key(edit)].append(edit)
    found = []
    for group in groups.values():
        if len({_LENGTH.sub("", edit.value) for edit in group}) > 1:
            continue  # they differ in more than the length, such as in where a timeout leads
        longest = max(edit.length for edit in group)
        found.append(next(edit for edit in group if edit.length == longest))
    return found


def changes_of(texts: Texts, edits: Iterable[Edit]) -> dict[str, dict[Edit, Splice]]:
    """Return for each file that changes which change of its text each edit is."""
    by_file: dict[str, list[Edit]] = defaultdict(list)
    for edit in edits:
        by_file[edit.place.file].append(edit)
    found = {name: Source(texts[name]).changes(of_file) for name, of_file in by_file.items()}
    return {name: changes for name, changes in found.items() if changes}
