"""Contacts from a force plate: two thresholds find them all, one for both finds some that are none."""

import dataclasses
from collections.abc import Callable

import numpy as np
import pytest
from support.recordings import EXECUTORS, FOLDER, Segmented, gait, rows, segment
from support.segmentation import Match, match, table

TOLERANCE_S = 0.05


def walk(executor: str, **parameters: float) -> Segmented:
    plan = gait("treadmill")
    values = {p.name: p.value for p in plan.parameters} | parameters
    changed = tuple(dataclasses.replace(p, value=values[p.name]) for p in plan.parameters)
    plan = dataclasses.replace(plan, parameters=changed)
    recording = FOLDER / "treadmill_force.csv"
    return segment(plan, EXECUTORS[executor], recording, {"force": "vertical_grf_N"})


def judged(got: Segmented) -> tuple[Match, Match]:
    events = rows("treadmill_force_events.csv")
    found = {phase: times for (_, phase), times in got.entered_s.items()}
    pairs = (("contact", "stance"), ("release", "swing"))
    contact, release = (
        match([float(e["time_s"]) for e in events if e["event"] == event], found[phase], TOLERANCE_S)
        for event, phase in pairs
    )
    return contact, release


@pytest.mark.parametrize("executor", EXECUTORS)
def test_30_n_on_and_15_n_off_find_every_contact_and_nothing_else(
    executor: str, print_table: Callable[[str], None]
) -> None:
    contact, release = judged(walk(executor))
    print_table(table(f"treadmill force, 100 Hz, {executor}", [("contact", contact), ("release", release)]))
    assert (contact.found, contact.referenced) == (46, 46)
    assert (release.found, release.referenced) == (47, 47)
    assert (contact.extra, release.extra) == ((), ())


def test_one_threshold_for_both_finds_contacts_that_are_none() -> None:
    contact, release = judged(walk("reference", foot_down=20.0, foot_up=20.0))
    assert len(contact.extra) >= 2
    assert len(release.extra) >= 2


def test_the_executors_agree_in_every_tick() -> None:
    assert np.array_equal(*(walk(executor).phase for executor in EXECUTORS))
