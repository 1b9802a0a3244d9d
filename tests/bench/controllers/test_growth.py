"""How a tick grows: with the guards of the active phases and the sequences, not with the number of phases."""

from collections.abc import Callable
from pathlib import Path

import pytest
from support.growing import Taken, taken

from sequencer.build.emulators import COUNTS_PER_INSTRUCTION
from sequencer.prove.controllers import controller

# Of a tick, by the number of sequences; emulators' counts repeat exactly. It goes to finding the phase among
# many, and, once: compilers no longer put what has grown large in line, so each sequence takes a call.
ALLOWED = {1: 0.03, 8: 0.06}
# sequences, phases of each, guards of each phase
CASES = ((1, 10, 1), (1, 10, 2), (1, 10, 3), (1, 100, 2), (8, 10, 2), (8, 50, 2), (8, 100, 2))


@pytest.mark.parametrize("name", ["atmega2560", "cortex-m3"])
def test_a_tick_grows_with_guards_not_with_phases(
    name: str, tmp_path: Path, print_table: Callable[[str], None]
) -> None:
    target = controller(name)
    unit = COUNTS_PER_INSTRUCTION if target.unit == "instructions" else 1.0
    figures: dict[tuple[int, int, int], Taken] = {case: taken(name, *case, tmp_path) for case in CASES}
    lines = [f"{target.title}, {target.unit} a tick", "sequences phases guards   median    worst   flash"]
    for (sequences, phases, guards), figure in figures.items():
        costs = f"{figure.median / unit:8.0f} {figure.worst / unit:8.0f}"
        lines.append(f"{sequences:9} {phases:6} {guards:6} {costs} {figure.flash:7}")
    for sequences, allowed in ALLOWED.items():
        few, many = figures[sequences, 10, 2], figures[sequences, 100, 2]
        ratios = many.median / few.median, many.worst / few.worst
        lines.append(
            f"100 phases over 10, {sequences} sequences: median {ratios[0]:.3f}, worst {ratios[1]:.3f}"
        )
        assert max(ratios) <= 1 + allowed
    print_table("\n".join(lines))
