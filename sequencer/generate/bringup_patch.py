"""What the bring-up program printed, and how a machine file would read with it. No file is changed here."""

from pathlib import Path

from sequencer.base.errors import FileErrors, MisuseError
from sequencer.gait.expand import Expander
from sequencer.gait.nodes import Item, Listing, Mapping, Text
from sequencer.gait.reading import Unreadable, parse_tree, read_tree

BEGINS, ENDS = "# ---- for ", "# ---- end ----"
_STEP = "  "


def patch_of(log: str) -> str:
    """Cut the last patch out of what a terminal program kept of the console: YAML lines and remarks.

    Raises MisuseError if there is no whole one.
    """
    lines = [line.rstrip("\r") for line in log.split("\n")]
    ends = [i for i, line in enumerate(lines) if line == ENDS]
    begins = [i for i, line in enumerate(lines) if line.startswith(BEGINS) and ends and i < ends[-1]]
    if not begins:
        raise MisuseError(
            "there is no whole patch in this text",
            hint=f"the bring-up program prints it at the command patch, from {BEGINS.strip()} to {ENDS}",
        )
    return "\n".join(lines[begins[-1] : ends[-1] + 1]) + "\n"


def merged_machine(machine: str | Path, patch: str) -> str:
    """Write out a machine file, its short forms expanded, with a patch laid over it; returns the new text.

    Raises FileErrors if one of the two cannot be read as YAML.
    """
    try:
        root, findings = read_tree(machine, "a machine file")
        expander = Expander()
        whole = expander.expand(root)
        over, wrong = parse_tree(patch, "the patch")
    except Unreadable as error:
        raise FileErrors([error.finding]) from error
    if findings or expander.findings or wrong:
        raise FileErrors([*findings, *expander.findings, *wrong])
    return "\n".join(_lines(_laid_over(whole, over), "")) + "\n"


def _laid_over(below: Item, above: Item) -> Item:
    """Give `below` with everything that `above` says; mappings are merged, an empty value changes nothing."""
    if isinstance(above, Text) and above.plain and not above.value:
        return below
    if not isinstance(below, Mapping) or not isinstance(above, Mapping):
        return above
    new = {key.value: (key, item) for key, item in above.entries}
    entries = [
        (key, _laid_over(item, new.pop(key.value)[1]) if key.value in new else item)
        for key, item in below.entries
    ]
    return Mapping((*entries, *(entry for entry in new.values() if _says_something(entry[1]))), below.place)


def _says_something(item: Item) -> bool:
    """Tell whether there is a value anywhere in it."""
    if isinstance(item, Mapping):
        return any(_says_something(value) for _, value in item.entries)
    return isinstance(item, Listing) or not item.plain or bool(item.value)


def _lines(item: Item, indent: str) -> list[str]:
    """Write a tree in block style, in which texts without quotes stay as they were written."""
    lines: list[str] = []
    if isinstance(item, Mapping):
        for key, value in item.entries:
            lines += _entry(f"{indent}{_scalar(key)}:", value, indent)
    elif isinstance(item, Listing):
        for value in item.items:
            lines += _entry(f"{indent}-", value, indent)
    else:
        lines.append(f"{indent}{_scalar(item)}")
    return lines


def _entry(head: str, value: Item, indent: str) -> list[str]:
    if isinstance(value, Text):
        return [f"{head} {_scalar(value)}".rstrip()]
    if not (value.entries if isinstance(value, Mapping) else value.items):
        return [f"{head} {'{}' if isinstance(value, Mapping) else '[]'}"]
    return [head, *_lines(value, indent + _STEP)]


def _scalar(text: Text) -> str:
    if text.plain:
        return text.value
    quoted = text.value.replace("'", "''")
    return f"'{quoted}'"
