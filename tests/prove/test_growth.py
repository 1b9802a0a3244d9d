"""What a tick takes depends on the guards of the active phases, not on how many phases there are.

Emulators count cycles and instructions; the counts repeat exactly, so that they may be held here. The whole
table, with eight sequences, is a benchmark: tests/bench/controllers/test_growth.py.
"""

from pathlib import Path

import pytest
from support.growing import taken

# of a tick, for finding the phase among many by a table and not by asking for a few
ALLOWED = 0.03


@pytest.mark.parametrize("name", ["atmega2560", "cortex-m3"])
def test_100_phases_take_no_more_than_10(name: str, tmp_path: Path) -> None:
    few, many = (taken(name, 1, phases, 2, tmp_path) for phases in (10, 100))
    assert many.flash > 2 * few.flash, "they are there"
    assert many.median <= (1 + ALLOWED) * few.median
    assert many.worst <= (1 + ALLOWED) * few.worst


@pytest.mark.parametrize("name", ["atmega2560", "cortex-m3"])
def test_each_guard_more_takes_its_own_time(name: str, tmp_path: Path) -> None:
    """Else the test above would compare programs that do nothing in a phase."""
    one, two, three = (taken(name, 1, 10, guards, tmp_path) for guards in (1, 2, 3))
    assert two.median > 1.05 * one.median
    assert three.median - two.median == pytest.approx(two.median - one.median, rel=0.25)
