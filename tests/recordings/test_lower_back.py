"""The hard case: contacts of both feet from one sensor on the lower back. Reported, not judged.

What is held is that the executors agree, and that the healthy walker's contacts are no chance hits.
"""

from collections.abc import Callable

import numpy as np
import pytest
from support.recordings import EXECUTORS, FOLDER, Segmented, gait, rows, segment
from support.segmentation import Match, match, table, within

WALKS = ("HA001_1", "HA001_2", "MS001_1", "MS001_2")
TOLERANCE_S = 0.1


def walk(executor: str, name: str) -> Segmented:
    recording = FOLDER / f"lower_back_{name}.csv"
    return segment(gait("lower_back"), EXECUTORS[executor], recording, {"vertical": "acc_x_g"})


def judged(got: Segmented, name: str) -> Match:
    events = rows(f"lower_back_{name}_events.csv")
    contacts = sorted({float(e["time_s"]) for e in events if e["event"] == "initial_contact"})
    (found,) = (times for (_, phase), times in got.entered_s.items() if phase == "caught")
    return match(contacts, within(found, contacts[0] - 0.2, contacts[-1] + 0.2), TOLERANCE_S)


@pytest.mark.parametrize("executor", EXECUTORS)
def test_contacts_from_the_lower_back_are_reported(executor: str, print_table: Callable[[str], None]) -> None:
    matches = {name: judged(walk(executor, name), name) for name in WALKS}
    print_table(table(f"lower back, 100 Hz, {executor}, not judged", list(matches.items())))
    assert matches["HA001_1"].recall == 1
    assert all(m.referenced == 9 for m in matches.values())


@pytest.mark.parametrize("name", WALKS)
def test_the_executors_agree_in_every_tick(name: str) -> None:
    assert np.array_equal(*(walk(executor, name).phase for executor in EXECUTORS))
