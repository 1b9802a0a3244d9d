"""The stork of the examples in whole steps: the same files, with `arithmetic: int16`."""

from pathlib import Path

from sequencer.plan.build import load_plan
from sequencer.plan.tables import Plan
from support.commands import STORK, copy_of_the_stork

TICK = "\ntick: 10 ms"


def whole_stork_file(folder: Path) -> Path:
    """Copy the stork into a folder, have it count in int16, and return the gait file's path."""
    gait = copy_of_the_stork(folder)
    machine = gait.parent / "stork.machine.yaml"
    text = machine.read_text(encoding="utf-8")
    assert text.count(TICK) == 1
    machine.write_text(text.replace(TICK, f"{TICK}\narithmetic: int16"), encoding="utf-8")
    return gait


def whole_stork(folder: Path) -> Plan:
    """Load it."""
    assert STORK.is_file()
    return load_plan(whole_stork_file(folder))
