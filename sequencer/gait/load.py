"""Loading a gait file and its machine file into models, with every error of both."""

from dataclasses import dataclass
from pathlib import Path as FilePath

from sequencer.base.findings import Finding, Severity
from sequencer.gait.expand import Expander
from sequencer.gait.gait_model import GaitFile
from sequencer.gait.machine_model import MachineFile
from sequencer.gait.nodes import Item, Mapping, Positions, Text
from sequencer.gait.reading import STANDARD_INPUT, Unreadable, parse_tree, read_tree
from sequencer.gait.validate import validate


@dataclass(frozen=True, slots=True)
class LoadedFile:
    """One file: its positions, and every name that it declares under each of its top-level keys."""

    name: str
    where: Positions
    declared: dict[str, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class Loaded:
    """A gait with its machine, as far as they could be read; `findings` are the errors so far."""

    gait: GaitFile | None
    machine: MachineFile | None
    gait_file: LoadedFile | None
    machine_file: LoadedFile | None
    findings: tuple[Finding, ...]


def load_files(path: str | FilePath, machine: str | FilePath | None = None) -> Loaded:
    """Read a gait file (``-`` for standard input) and the machine file it names, or `machine` instead."""
    try:
        root, findings, _ = read_tree(path)
    except Unreadable as error:
        return Loaded(None, None, None, None, (error.finding,))
    return _load(root, findings, path, machine)


def load_text(text: str, machine: str | FilePath | None = None, name: str = "<text>") -> Loaded:
    """Read a gait from text; `name` stands in places."""
    try:
        root, findings = parse_tree(text, name)
    except Unreadable as error:
        return Loaded(None, None, None, None, (error.finding,))
    return _load(root, findings, name, machine)


def _load(
    root: Item, findings: list[Finding], path: str | FilePath, machine: str | FilePath | None
) -> Loaded:
    root, more = _expanded(root)
    block = root.get("machine") if isinstance(root, Mapping) else None
    if isinstance(root, Mapping) and isinstance(block, Mapping):
        root = _set_aside(root)
    gait, wrong, where = validate(GaitFile, root)
    findings = findings + more + wrong
    gait_file = LoadedFile(root.place.file, where, _declared(root))
    model, file, errors = None, None, list[Finding]()
    if machine is not None:
        model, file, errors = _machine_file(machine, None)
    elif isinstance(block, Mapping):
        model, file, errors = _inline(block, gait.gait if gait else "unnamed")
    elif isinstance(block, Text):
        model, file, errors = _machine_file(_beside(path, block.value), block)
    return Loaded(gait, model, gait_file, file, tuple(dict.fromkeys(findings + errors)))


def _set_aside(root: Mapping) -> Mapping:
    """Put a word in the place of an inline machine, which is validated on its own."""
    entries = tuple(
        (key, Text("inline", True, item.place) if key.value == "machine" else item)
        for key, item in root.entries
    )
    return Mapping(entries, root.place)


def _inline(block: Mapping, name: str) -> tuple[MachineFile | None, LoadedFile | None, list[Finding]]:
    if block.get("machine") is None:
        named = (Text("machine", True, block.place), Text(name, True, block.place))
        block = Mapping((named, *block.entries), block.place)
    model, wrong, where = validate(MachineFile, block)
    return model, LoadedFile(block.place.file, where, _declared(block)), wrong


def _expanded(root: Item) -> tuple[Item, list[Finding]]:
    expander = Expander()
    return expander.expand(root), expander.findings


def _beside(path: str | FilePath, machine: str) -> FilePath:
    folder = FilePath() if str(path) == STANDARD_INPUT else FilePath(path).parent
    return folder / machine


def _machine_file(
    path: str | FilePath, said: Text | None
) -> tuple[MachineFile | None, LoadedFile | None, list[Finding]]:
    try:
        root, findings, _ = read_tree(path)
    except Unreadable as error:
        return None, None, [_machine_missing(error.finding, said)]
    root, more = _expanded(root)
    if isinstance(root, Mapping) and root.get("gait") is not None and root.get("signals") is None:
        place = said.place if said else root.place
        message = f"{root.place.file} is a gait file, not a machine file"
        fix = "machine: names the file that begins with machine:, such as stork.machine.yaml"
        return None, None, [Finding("not-a-machine", Severity.ERROR, place, message, fix=fix)]
    model, wrong, where = validate(MachineFile, root)
    return model, LoadedFile(root.place.file, where, _declared(root)), findings + more + wrong


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


def _declared(root: Item) -> dict[str, tuple[str, ...]]:
    """List the names under each top-level key, also those whose block is broken."""
    names: dict[str, tuple[str, ...]] = {}
    for key, item in root.entries if isinstance(root, Mapping) else ():
        if isinstance(item, Mapping):
            names[key.value] = tuple(name.value for name, _ in item.entries)
        elif isinstance(item, Text):
            names[key.value] = (item.value,)
        else:
            names[key.value] = tuple(i.value for i in item.items if isinstance(i, Text))
    return names
