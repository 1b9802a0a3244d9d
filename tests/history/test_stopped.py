"""Stalled and cut outputs in a run: when, in words, and in what is shown and compared."""

import csv
import io
import json
from dataclasses import replace

import numpy as np
import pytest
from support import plans as p
from support.loops import loop, output, stall, supply
from support.plans import Phase, make_plan, signal
from support.play import tick, tick_block
from support.walks_by_hand import record

from sequencer.executors.reference import ReferenceExecutor
from sequencer.history.blocks import OUTPUT_CUT, OUTPUT_OFF, OUTPUT_STALLED, HistoryBlock
from sequencer.history.compare import first_difference
from sequencer.history.recorder import Recorder
from sequencer.history.run import Interval, Run
from sequencer.history.summary import summary
from sequencer.plan.tables import Adds, Plan, Term
from sequencer.show.runcsv import run_csv
from sequencer.show.runjson import run_document
from sequencer.show.runs import failed, run_text

ON = (Term(None, 0.0),)
PLAN = make_plan(
    {"walk": [Phase("a", [("off", p.event("go"))]), Phase("off", [("a", p.event("go"))], stop=0)]},
    signals=[signal("knee", unit="mm"), signal("battery", unit="V")],
    loops=[
        loop("tilt", terms=ON, output=None, unit="mm"),
        loop("left", gains=(1.0, 0.0, 0.0), terms=ON, inputs=(Adds(0, 0.0),), unit="mm"),
        loop("right", gains=(0.25, 0.0, 0.0), terms=ON, output=1, unit="mm"),
    ],
    outputs=[
        output("left_motor", loops=(1,), stall=stall(0, above=0.5, moves=2.0, for_ms=30)),
        output("right_motor", loops=(2,), supply=supply(1, 12.0, smooth=1.0, least=10.0, under_for_ms=20)),
    ],
)
HARD = tick(knee=-1, battery=12)
GO = tick(knee=-1, battery=12, events="go")
LOW = tick(knee=-1, battery=9)
# left_motor stalls in tick 3, drives are off in ticks 5 and 6; both are cut from tick 12 on
TICKS = [*[HARD] * 5, GO, HARD, GO, HARD, HARD, LOW, LOW, LOW, LOW]


@pytest.fixture(scope="module")
def run() -> Run:
    return record(PLAN, TICKS)


def test_stalls_and_cuts_are_kept_by_their_start(run: Run) -> None:
    assert run.stopped_outputs == (
        Interval(0, OUTPUT_STALLED, 3, 5, 30, 50),
        Interval(0, OUTPUT_STALLED, 10, 12, 100, 120),
        Interval(0, OUTPUT_CUT, 12, 14, 120, 130),
        Interval(1, OUTPUT_CUT, 12, 14, 120, 130),
    )
    assert run.drives_off == (Interval(0, 0, 5, 7, 50, 70),)


def test_they_are_the_same_whatever_the_blocks() -> None:
    executor, recorder, whole = ReferenceExecutor(PLAN), Recorder(PLAN), tick_block(PLAN, TICKS)
    for first in range(0, len(whole), 3):
        rows = slice(first, first + 3)
        part = replace(
            whole,
            **{n: getattr(whole, n)[rows] for n in ("now", "raw", "fresh", "events", "switches", "control")},
        )
        recorder.add(part, executor.run(part))
    assert recorder.finish().stopped_outputs == record(PLAN, TICKS).stopped_outputs


def test_each_stall_and_each_cut_is_a_fault_with_its_reason(run: Run) -> None:
    faults = [(fault.kind, fault.at_ms, fault.words) for fault in summary(run).faults]
    why = "beyond 0.5 for 30 ms while knee moved less than 2 mm"
    assert faults == [
        ("output", 30, f"left_motor stalled and was off for 20 ms: {why}"),
        ("output", 100, f"left_motor stalled and was off for 20 ms: {why}"),
        ("output", 120, "all outputs were cut until reset: battery was under 10 V for 20 ms"),
    ]


def test_a_run_with_one_has_failed(run: Run) -> None:
    assert failed(run)
    assert not failed(record(PLAN, TICKS[:3]))
    assert "fault at 0.12 s: all outputs were cut until reset" in run_text(run, summary(run))


def test_the_run_document_lists_them(run: Run) -> None:
    document = json.loads(run_document(run, summary(run)))
    assert document["outputs"][0] == {"name": "left_motor", "state": "stalled", "from_ms": 30, "to_ms": 50}
    assert [entry["state"] for entry in document["outputs"]] == ["stalled", "stalled", "cut", "cut"]
    assert document["failed"]


def test_the_table_has_loops_in_the_unit_of_what_they_give_and_outputs_with_states(run: Run) -> None:
    rows = list(csv.DictReader(io.StringIO(b"".join(run_csv(run)).decode())))
    assert [row["tilt [mm]"] for row in rows[:6]] == ["0.5"] * 5 + ["0.0"]
    assert [row["right"] for row in rows[:2]] == ["0.25", "0.25"]
    assert [row["left_motor"] for row in rows[:6]] == ["1.0", "1.0", "1.0", "0.0", "0.0", "0.0"]
    assert "".join(row["left_motor.state"] for row in rows) == "00022110002233"


def test_without_loops_the_table_is_as_it_was() -> None:
    bare = replace(PLAN, loops=(), outputs=())
    rows = list(csv.DictReader(io.StringIO(b"".join(run_csv(record(bare, TICKS))).decode())))
    assert [name for name in rows[0] if "motor" in name or "tilt" in name] == []


@pytest.mark.parametrize(
    ("field", "column", "where"),
    [
        ("loop", 2, "loop of right"),
        ("output", 1, "output of right_motor"),
        ("output_state", 0, "output_state of left_motor"),
    ],
)
def test_a_difference_in_one_of_them_is_found_and_shown(field: str, column: int, where: str) -> None:
    a, b = _recorded(PLAN), _recorded(PLAN)
    values = getattr(b, field)
    if values.dtype == np.float32:
        values[7, column] = np.nextafter(values[7, column], np.float32(9))  # one unit in the last place
    else:
        values[7, column] = OUTPUT_OFF
    found = first_difference(PLAN, a, b)
    assert found is not None
    assert (found.row, found.field) == (7, where)
    assert "loop right: 0.25 (0x3e800000)" in found.states
    assert "output left_motor: " in found.states


def _recorded(plan: Plan) -> HistoryBlock:
    return ReferenceExecutor(plan).run(tick_block(plan, TICKS))
