import csv
import io
import json
import math
import re

import numpy as np
import pytest
from support.commands import STORK

import sequencer
from sequencer.base.errors import MisuseError
from sequencer.history.amounts import duration
from sequencer.history.run import Run
from sequencer.history.summary import summary
from sequencer.show.runcsv import run_csv
from sequencer.show.runjson import run_document
from sequencer.show.runs import failed, margins_text, run_text
from sequencer.trace.follow import FollowOptions


@pytest.fixture(scope="module")
def walk() -> Run:
    return sequencer.load(STORK).dry_run(duration_s=6, executor="reference")


@pytest.fixture(scope="module")
def stuck() -> Run:
    following = FollowOptions(limit={"left_leg_roll": "11 deg"})
    return sequencer.load(STORK).dry_run(duration_s=8, executor="reference", following=following)


def rows_of(run: Run, *, margins: bool = False) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(b"".join(run_csv(run, margins=margins)).decode())))


def test_csv_numbers_read_back_to_the_same_bits(walk: Run) -> None:
    assert walk.history is not None and walk.history.detail is not None
    rows = rows_of(walk)
    lean = np.array([row["lean [deg]"] for row in rows], np.float32)
    assert lean.tobytes() == np.ascontiguousarray(walk.history.setpoint[:, 0]).tobytes()
    tilt = np.array([row["left_leg_roll.value [deg]"] or "0" for row in rows], np.float32)
    assert tilt.tobytes() == np.ascontiguousarray(walk.history.detail.signal[:, 0]).tobytes()


def test_csv_times_causes_and_margins(walk: Run) -> None:
    rows = rows_of(walk, margins=True)
    assert [row["time_s"] for row in rows[:3]] == ["0.000", "0.010", "0.020"]
    causes = [(row["time_s"], row["cause"]) for row in rows if row["cause"]]
    assert causes[:2] == [("0.000", "reset"), ("1.000", "guard 1")]
    margin = [row["margin: lean_right guard 1 [deg]"] for row in rows]
    first = next(i for i, cell in enumerate(margin) if cell)
    assert rows[first - 1]["phase"] == rows[first]["phase"] == "lean_right"  # looked at from the next tick on
    assert not any(math.isinf(float(cell)) for cell in margin if cell)


def test_without_ticks_there_is_no_csv_and_no_margin() -> None:
    run = sequencer.load(STORK).dry_run(duration_s=1, executor="reference", margins=False)
    with pytest.raises(MisuseError, match="without its ticks"):
        list(run_csv(run))
    with pytest.raises(MisuseError):
        margins_text(run)
    assert "margins were not recorded" in run_text(run, summary(run))


def test_a_run_document_keeps_its_keys(stuck: Run) -> None:
    whole = json.loads(run_document(stuck, summary(stuck)))
    assert (whole["document"], whole["version"]) == ("run", 1)
    assert sorted(whole) == sorted(
        "document version tool gait machine meaning failed summary ticks start_ms end_ms steps cycles".split()
        + "tightest counters refused_writes transitions rules outputs drives_off faults waiting".split()
        + ["samples"]
    )
    assert whole["failed"] is True
    assert whole["transitions"][-1] == {
        "tick": 600,
        "at_ms": 6000,
        "sequence": stuck.plan.sequences[0].name,
        "from": "lean_right",
        "to": "safe",
        "after_ms": 5000,
        "cause": "timeout",
        "number": None,
        "because": "timeout after 5 s",
    }
    (fault,) = whole["faults"]
    assert (fault["kind"], fault["at_ms"]) == ("timeout", 6000)
    assert fault["place"]["file"].endswith("examples/stork/stork.gait.yaml")


def test_only_a_fault_that_stops_fails_a_run(walk: Run, stuck: Run) -> None:
    assert failed(stuck)
    assert not failed(walk)


def test_a_run_that_ends_in_the_middle_of_a_step_is_not_called_stuck(walk: Run) -> None:
    assert "at the end:" not in run_text(walk, summary(walk))


def test_a_run_that_waits_longer_than_ever_says_so() -> None:
    following = FollowOptions(stuck_from_ms={"left_knee": 2200})
    run = sequencer.load(STORK).dry_run(duration_s=4, executor="reference", following=following)
    text = run_text(run, summary(run))
    assert "at the end: lift_left was still waiting after 2.1 s: guard 1 waited for left_knee" in text


def test_a_column_limit_cuts_the_table_but_not_the_fault(stuck: Run) -> None:
    text = run_text(stuck, summary(stuck), columns=50)
    lines = text.splitlines()
    assert all(len(line) <= 50 for line in lines[:4])
    assert any(line.startswith("fault at 6.00 s: ") and len(line) > 80 for line in lines)


def test_the_last_unfinished_visit_counts_for_no_length() -> None:
    run = sequencer.load(STORK).dry_run(duration_s=40, executor="reference")
    stays = [stay for stay in run.stays(0) if stay.phase == run.last_phases[0]]
    lengths = [stay.to_ms - stay.from_ms for stay in stays]
    assert lengths[-1] < min(lengths[:-1]), "the run must end in the middle of a phase"
    name = run.plan.sequences[0].phases[run.last_phases[0]].name
    (row,) = (line for line in run_text(run, summary(run)).splitlines() if line.startswith(f"{name} "))
    cells = re.split("  +", row)
    assert cells[1:3] == [str(len(stays)), duration(min(lengths[:-1]))]
    assert cells[5] == f"guard 1 x {len(stays) - 1}, the end after {duration(lengths[-1])}"


def test_a_phase_that_only_the_end_left_has_no_lengths() -> None:
    following = FollowOptions(operator=((1000, "go"), (40000, "halt")))
    run = sequencer.load(STORK).dry_run(duration_s=60, executor="reference", following=following)
    (row,) = (line for line in run_text(run, summary(run)).splitlines() if line.startswith("safe "))
    assert row.split() == ["safe", "1", *"the end after 20.0 s".split()]
