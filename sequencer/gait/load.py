"""Loading a gait file and its machine file into models, with every error of both."""

import difflib
import re
from dataclasses import dataclass, field, replace
from pathlib import Path as FilePath

from sequencer.base.acceptance import Acceptance
from sequencer.base.findings import Finding, Severity
from sequencer.gait.accept import acceptances
from sequencer.gait.expand import Expander
from sequencer.gait.fields import is_name
from sequencer.gait.gait_model import GaitFile
from sequencer.gait.machine_model import MachineFile
from sequencer.gait.model_types import known_keys
from sequencer.gait.nodes import Item, Mapping, Path, Positions, Text
from sequencer.gait.reading import STANDARD_INPUT, Texts, Unreadable, parse_tree, read_tree
from sequencer.gait.validate import Model, validate

MOST_NAMES_MEANT = 1000  # characters of a text that is looked through for names


@dataclass(frozen=True, slots=True)
class LoadedFile:
    """One file: its positions, and what it declares, also where that is broken.

    declared: the names under each top-level key.
    phases: the names of the phases of each sequence, "" for those of a gait without sequences, mirror
        images included.
    cut: paths that were left out because of an error that has been told.
    accepted: what stands under `accept:`, anywhere in the file.
    vanished: patterns of names that a broken for_each or use would have made.
    """

    name: str
    where: Positions
    declared: dict[str, tuple[str, ...]]
    phases: dict[str, tuple[str, ...]] = field(default_factory=dict)
    cut: frozenset[Path] = frozenset()
    accepted: tuple[Acceptance, ...] = ()
    vanished: tuple[re.Pattern[str], ...] = ()


@dataclass(frozen=True, slots=True)
class Loaded:
    """A gait with its machine, as far as they could be read; `findings` are the errors so far."""

    gait: GaitFile | None
    machine: MachineFile | None
    gait_file: LoadedFile | None
    machine_file: LoadedFile | None
    findings: tuple[Finding, ...]


def load_files(
    path: str | FilePath, machine: str | FilePath | None = None, texts: Texts | None = None
) -> Loaded:
    """Read a gait file (``-`` for standard input) and the machine file it names, or `machine` instead.

    texts: what stands in it is not read from disk again; what is read is put there.
    """
    try:
        root, findings = read_tree(path, texts=texts)
    except Unreadable as error:
        return Loaded(None, None, None, None, (error.finding,))
    return _load(root, findings, path, machine, texts)


def load_text(text: str, machine: str | FilePath | None = None, name: str = "<text>") -> Loaded:
    """Read a gait from text; `name` stands in places."""
    try:
        root, findings = parse_tree(text, name)
    except Unreadable as error:
        return Loaded(None, None, None, None, (error.finding,))
    return _load(root, findings, name, machine)


def load_machine(path: str | FilePath) -> Loaded:
    """Read a machine file by itself (``-`` for standard input)."""
    model, file, findings = _machine_file(path, None)
    return Loaded(None, model, None, file, tuple(dict.fromkeys(findings)))


def _load(
    root: Item,
    findings: list[Finding],
    path: str | FilePath,
    machine: str | FilePath | None,
    texts: Texts | None = None,
) -> Loaded:
    expander = Expander()
    root = expander.expand(root)
    findings = findings + expander.findings
    if expander.overran:
        return Loaded(None, None, None, None, tuple(findings))
    wrong = _not_a_gait(root)
    if wrong is not None:
        return Loaded(None, None, None, None, (*findings, wrong))
    block = root.get("machine") if isinstance(root, Mapping) else None
    gait, gait_file, errors = _validated(GaitFile, _set_aside(root), expander)
    findings += errors
    model, file, errors = None, None, list[Finding]()
    if machine is not None:
        model, file, errors = _machine_file(machine, None, texts)
    elif isinstance(block, Mapping):
        named = _named(block, gait.gait if gait else "unnamed")
        model, file, errors = _validated(MachineFile, named, expander)
    elif isinstance(block, Text):
        model, file, errors = _machine_file(_beside(path, block.value), block, texts)
    return Loaded(gait, model, gait_file, file, tuple(dict.fromkeys(findings + errors)))


def _validated(
    kind: type[Model], root: Item, expander: Expander, *, shared: bool = False
) -> tuple[Model | None, LoadedFile, list[Finding]]:
    done = validate(kind, root)
    meant = _as_meant(kind, root)
    declared, phases = _declared(meant), _phases(meant)
    accepted = acceptances(kind, root, done.where, shared=shared)
    vanished = tuple(expander.vanished)
    file = LoadedFile(root.place.file, done.where, declared, phases, done.cut, accepted, vanished)
    return done.model, file, done.findings


def _not_a_gait(root: Item) -> Finding | None:
    """Say so at once if a machine file was given in place of a gait."""
    if not isinstance(root, Mapping) or root.get("gait") is not None:
        return None
    if not isinstance(root.get("machine"), Text) or not (root.get("signals") or root.get("setpoints")):
        return None
    message = f"{root.place.file} describes a machine, not a walk"
    fix = "give the gait file; it names its machine file under machine:"
    return Finding("missing-key", Severity.ERROR, root.place, message, expected="gait: NAME", fix=fix)


def _set_aside(root: Item) -> Item:
    """Put a word in the place of an inline machine, which is validated on its own."""
    if not isinstance(root, Mapping):
        return root
    entries = tuple(
        (
            key,
            Text("inline", True, item.place)
            if key.value == "machine" and isinstance(item, Mapping)
            else item,
        )
        for key, item in root.entries
    )
    return Mapping(entries, root.place)


def _named(block: Mapping, name: str) -> Mapping:
    """Name an inline machine after its gait if it has no name of its own."""
    if block.get("machine") is not None:
        return block
    named = (Text("machine", True, block.place), Text(name, True, block.place))
    return Mapping((named, *block.entries), block.place)


def _beside(path: str | FilePath, machine: str) -> FilePath:
    folder = FilePath() if str(path) == STANDARD_INPUT else FilePath(path).parent
    return folder.absolute() / machine if machine == STANDARD_INPUT else folder / machine


def _machine_file(
    path: str | FilePath, said: Text | None, texts: Texts | None = None
) -> tuple[MachineFile | None, LoadedFile | None, list[Finding]]:
    try:
        root, findings = read_tree(path, "a machine file", texts)
    except Unreadable as error:
        return None, None, [_machine_missing(error.finding, said)]
    expander = Expander()
    root = expander.expand(root)
    if expander.overran:
        return None, None, findings + expander.findings
    if isinstance(root, Mapping) and root.get("gait") is not None and root.get("signals") is None:
        place = said.place if said else root.place
        message = f"{root.place.file} is a gait file, not a machine file"
        fix = "machine: names the file that begins with machine:, such as stork.machine.yaml"
        return None, None, [Finding("not-a-machine", Severity.ERROR, place, message, fix=fix)]
    model, file, wrong = _validated(MachineFile, root, expander, shared=True)
    return model, file, findings + expander.findings + wrong


def _machine_missing(finding: Finding, said: Text | None) -> Finding:
    """Say at the gait's ``machine:`` that the file it names cannot be opened."""
    if said is None or finding.code != "no-file":
        return finding
    return Finding(
        finding.code,
        finding.severity,
        said.place,
        f"the machine file {finding.message}",
        expected="a machine file, relative to the gait file",
        fix=finding.fix or "give another one with --machine FILE, or write the machine inline under machine:",
    )


def _as_meant(kind: type[Model], root: Item) -> Item:
    """Give the tree with misspelt top-level keys put right, for what it declares."""
    if not isinstance(root, Mapping):
        return root
    known = known_keys(kind, ())
    present = {key.value for key, _ in root.entries}

    def put_right(key: Text) -> Text:
        close = [] if key.value in known else difflib.get_close_matches(key.value, known, n=1)
        return replace(key, value=close[0]) if close and close[0] not in present else key

    return Mapping(tuple((put_right(key), item) for key, item in root.entries), root.place)


def _declared(root: Item) -> dict[str, tuple[str, ...]]:
    """List the names under each top-level key, also those whose block is broken."""
    names: dict[str, tuple[str, ...]] = {}
    for key, item in root.entries if isinstance(root, Mapping) else ():
        if isinstance(item, Mapping):
            found = [name.value for name, _ in item.entries]
        elif isinstance(item, Text):
            found = [item.value]
        else:
            found = [i.value for i in item.items if isinstance(i, Text)]
        names[key.value] = (*found, *(meant for name in found for meant in _names_meant(name)))
    return names


def _names_meant(text: str) -> tuple[str, ...]:
    """List the names that something that is no name may have been meant to be: ``go halt``, ``body-roll``."""
    if is_name(text) or len(text) > MOST_NAMES_MEANT:
        return ()
    words = re.findall(r"\w+", text)
    return (*words, "_".join(words), "_".join(words).lower())


def _phases(root: Item) -> dict[str, tuple[str, ...]]:
    """List the names of the phases of each sequence, also those that are broken or made by mirror."""
    if not isinstance(root, Mapping):
        return {}
    names = {"": (*_keys(root.get("phases")), *_mirror_images(root))}
    sequences = root.get("sequences")
    for key, sequence in sequences.entries if isinstance(sequences, Mapping) else ():
        names[key.value] = _keys(sequence.get("phases") if isinstance(sequence, Mapping) else None)
    return names


def _keys(item: Item | None) -> tuple[str, ...]:
    return tuple(key.value for key, _ in item.entries) if isinstance(item, Mapping) else ()


def _mirror_images(root: Mapping) -> tuple[str, ...]:
    mirror = root.get("mirror")
    phases = mirror.get("phases") if isinstance(mirror, Mapping) else None
    if not isinstance(phases, Mapping):
        return ()
    return tuple(image.value for _, image in phases.entries if isinstance(image, Text))
