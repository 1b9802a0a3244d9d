"""Recordings made by others, shown as logs of a program that is not ours: with phases, without a gait file.

The times on the page are held against the references that came with the recordings (sources and licences in
README.md). What the page holds is read back from its file.
"""

import itertools
import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from support.commands import call
from support.recordings import FEET, FOLDER, TIP_RATES, Array, columns, rows
from support.segmentation import match, within
from support.walks import EDGE_S, PERSON_TOLERANCE_S, crossings, person_a

from sequencer.show.report.pack import Packed, unpack


def page_of(log: Path) -> dict[str, Any]:
    """Write the report of a log, and read the run's part of its document back."""
    page = log.with_suffix(".html")
    done = call("report", log, "-o", page, "-q")
    assert done.returncode == 0, done.stderr
    found = re.search(
        r'<script type="application/json" id="document">(.*?)</script>', page.read_text(), re.DOTALL
    )
    assert found is not None
    run: dict[str, Any] = json.loads(found[1])["runs"][0]
    return run


def seconds(packed: dict[str, Any]) -> Array:
    return np.asarray(unpack(Packed(packed["type"], packed["length"], packed["text"])), np.float64) / 1000


def times_on_the_ground(run: dict[str, Any]) -> dict[str, tuple[Array, Array]]:
    return {c["name"]: (seconds(c["from"]), seconds(c["to"])) for c in run["contacts"]}


def row_of(run: dict[str, Any], what: str) -> dict[str, Any]:
    [row] = [row for row in run["symmetry"] if row["what"].startswith(what)]
    return dict(row)


def steps_s(other: Array, own: Array) -> Array:
    """Times from the last touch of the other foot to each touch, where the two take turns."""
    found = []
    for before, touch in itertools.pairwise(own):
        between = other[(other > before) & (other < touch)]
        if len(between):
            found.append(touch - between[-1])
    return np.array(found)


@pytest.fixture(scope="module")
def robot(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """Its contact signal, and phases made of it: which feet stand."""
    walk, contact = columns("two_legged_robot.csv"), columns("two_legged_robot_contact.csv")
    names = ("air", "on right", "on left", "on both")
    log = tmp_path_factory.mktemp("robot") / "robot.csv"
    lines = ["time_s,phase,left_contact,right_contact,left_shank_spring_deg,right_shank_spring_deg"]
    for i, time in enumerate(contact["time_s"]):
        left, right = contact["left_contact"][i], contact["right_contact"][i]
        springs = (walk[f"{leg}_shank_spring_deg"][i] for leg in FEET)
        name = names[2 * int(left > 0.5) + int(right > 0.5)]
        lines.append(f"{time},{name},{left},{right},{','.join(map(str, springs))}")
    log.write_text("\n".join(lines) + "\n")
    return page_of(log)


@pytest.mark.parametrize("leg", FEET)
def test_the_robots_touches_and_lifts_are_those_of_its_contact_signal(
    robot: dict[str, Any], leg: str
) -> None:
    """Reference: two_legged_robot_contact.csv, whose crossings of one half are found on their own here."""
    reference = columns("two_legged_robot_contact.csv")
    touches, lifts = crossings(reference["time_s"], reference[f"{leg}_contact"])
    down, up = times_on_the_ground(robot)[leg]
    assert len(touches) == 17
    assert down[1:] == pytest.approx(touches)  # the first is the start of the log, in which both stand
    assert up[: len(lifts)] == pytest.approx(lifts)


def test_the_robots_steps_take_what_its_contact_signal_says(robot: dict[str, Any]) -> None:
    reference = columns("two_legged_robot_contact.csv")
    touches = {leg: crossings(reference["time_s"], reference[f"{leg}_contact"])[0] for leg in FEET}
    row = row_of(robot, "step from touch to touch")
    for own, other in (FEET, FEET[::-1]):
        steps = steps_s(touches[other], touches[own])
        assert abs(row[own]["count"] - len(steps)) <= 1
        assert row[own]["median"] == pytest.approx(1000 * np.median(steps), abs=1)


def test_the_phases_on_the_page_are_as_long_as_the_contact_signal_makes_them(robot: dict[str, Any]) -> None:
    reference = columns("two_legged_robot_contact.csv")
    alone = (reference["left_contact"] > 0.5) & (reference["right_contact"] <= 0.5)
    edges = np.flatnonzero(np.diff(alone.astype(int)))
    stood = np.diff(reference["time_s"][edges + 1])[::2]  # it begins and ends with False
    row = row_of(robot, "time in on left / on right")
    assert row["left"]["count"] == len(stood) == 16
    assert row["left"]["median"] == pytest.approx(1000 * np.median(stood))


@pytest.mark.parametrize(("on", "off", "right"), [(30.0, 15.0, True), (20.0, 20.0, False)])
def test_contacts_on_the_treadmill_are_those_of_its_events(
    tmp_path: Path, on: float, off: float, right: bool
) -> None:
    """Reference: treadmill_force_events.csv, by another method; one threshold for both finds too many."""
    force = columns("treadmill_force.csv")
    lines, down = ["time_s,phase,foot contact,force [N]"], True
    for time, newton in zip(force["time_s"], force["vertical_grf_N"], strict=True):
        down = newton >= off if down else newton > on
        lines.append(f"{time},{'stance' if down else 'swing'},{int(down)},{newton}")
    (tmp_path / "belt.csv").write_text("\n".join(lines) + "\n")
    [(touches, lifts)] = times_on_the_ground(page_of(tmp_path / "belt.csv")).values()
    events = rows("treadmill_force_events.csv")
    wanted = {k: [float(e["time_s"]) for e in events if e["event"] == k] for k in ("contact", "release")}
    contact = match(wanted["contact"], touches[1:], 0.05)
    release = match(wanted["release"], lifts[: 47 if right else None], 0.05)
    assert (contact.found, release.found) == (46, 47)
    assert ((contact.extra, release.extra) == ((), ())) is right


@pytest.fixture(scope="module")
def person(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """What a dry run of the person's gait wrote, shown again without the gait."""
    log = tmp_path_factory.mktemp("person") / "person.csv"
    maps = [part for ours, theirs in TIP_RATES.items() for part in ("--map", f"{ours}={theirs}")]
    done = call("dry-run", FOLDER / "person.gait.yaml", FOLDER / "person_a.csv", *maps, "--out", log, "-q")
    assert done.returncode == 0, done.stderr
    return page_of(log)


@pytest.mark.parametrize("foot", FEET)
def test_a_persons_feet_touch_down_when_motion_capture_says_so(person: dict[str, Any], foot: str) -> None:
    """Reference: person_a_events.csv, from motion capture."""
    contacts, _ = person_a(foot)
    touches, _ = times_on_the_ground(person)[foot]
    found = match(contacts, within(touches, contacts[0] - EDGE_S, contacts[-1] + EDGE_S), PERSON_TOLERANCE_S)
    assert found.recall >= 0.96 and found.precision >= 0.95
    assert found.median_ms <= 10


def test_a_persons_steps_take_as_long_as_motion_capture_says(person: dict[str, Any]) -> None:
    touches = {foot: person_a(foot)[0] for foot in FEET}
    row = row_of(person, "step from touch to touch")
    for own, other in (FEET, FEET[::-1]):
        steps = steps_s(touches[other], touches[own])
        steps = steps[steps < 1.0]  # the reference leaves out turns
        assert row[own]["count"] >= len(steps)
        assert row[own]["median"] == pytest.approx(1000 * np.median(steps), abs=15)
