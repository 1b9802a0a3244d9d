"""What stands in a report is what the run says, to the bit, and what the files say, line by line."""

import json
from pathlib import Path

import numpy as np
import pytest
from support.commands import STORK

import sequencer
from sequencer.api import Gait
from sequencer.history.blocks import SEEN
from sequencer.history.cause import cause_words
from sequencer.history.margins import guard_margins
from sequencer.history.run import Run
from sequencer.show.report.build import report_document
from sequencer.show.report.columns import RunColumns, watched_guards
from sequencer.show.report.document import NO_GUARD, NO_PHASE, ReportDocument
from sequencer.show.report.pack import unpack
from sequencer.show.report.page import json_text
from sequencer.show.report.recorded import RunSource

STUCK = STORK.parent / "recordings" / "foot_stuck.csv"


@pytest.fixture(scope="module")
def gait() -> Gait:
    return sequencer.load(STORK)


@pytest.fixture(scope="module")
def run(gait: Gait) -> Run:
    return gait.dry_run(STUCK, executor="reference")


@pytest.fixture(scope="module")
def document(gait: Gait, run: Run) -> ReportDocument:
    return report_document(gait.plan, [RunSource(STUCK.name, run)], gait.check(), ["before lunch"])


def column(document: ReportDocument, number: int) -> np.ndarray:
    return np.concatenate([unpack(piece) for piece in document.runs[0].columns[number].pieces])


def test_every_column_is_the_runs_own_to_the_bit(gait: Gait, run: Run, document: ReportDocument) -> None:
    history, plan = run.history, gait.plan
    assert history is not None
    detail = history.detail
    assert detail is not None
    columns = RunColumns(plan)
    for i in range(len(plan.signals)):
        seen = (detail.signal_state[:, i] & SEEN) > 0
        got = column(document, columns.signal + i)
        assert got[seen].tobytes() == detail.signal[seen, i].tobytes()
        assert np.isnan(got[~seen]).all()
    for i in range(len(plan.setpoints)):
        assert column(document, columns.setpoint + i).tobytes() == history.setpoint[:, i].tobytes()
        assert column(document, columns.target + i).tobytes() == detail.target[:, i].tobytes()
    for i in range(len(plan.loops)):
        assert column(document, columns.loop + i).tobytes() == history.loop[:, i].tobytes()
    for i in range(len(plan.outputs)):
        assert column(document, columns.output + i).tobytes() == history.output[:, i].tobytes()
    for leaf, number in columns.margin.items():
        assert np.array_equal(column(document, number), detail.margin[:, leaf], equal_nan=True)
    for guard, number in columns.guard_truth.items():
        assert column(document, number).tolist() == guard_margins(plan, guard, detail)[0].tolist()


def test_transitions_and_stays_are_the_runs(gait: Gait, run: Run, document: ReportDocument) -> None:
    moves, shown = run.transitions, document.runs[0].moves
    assert unpack(shown.at).tolist() == moves.at_ms.tolist()
    assert unpack(shown.stayed).tolist() == moves.stayed_ms.tolist()
    assert unpack(shown.entered).tolist() == moves.entered.tolist()
    assert unpack(shown.left).tolist() == [NO_PHASE if left < 0 else left for left in moves.left.tolist()]
    assert run.history is not None
    words = [cause_words(gait.plan, move, run.history.detail) for move in moves]
    assert [shown.causes[i] for i in unpack(shown.cause).tolist()] == words
    guards = [watched.guard for watched in watched_guards(gait.plan)]
    for move, number in zip(moves, unpack(shown.guard).tolist(), strict=True):
        if number != NO_GUARD and move.left is not None and words[0] != "reset":
            assert guards[number] in [way.guard for way in gait.plan.sequences[0].phases[move.left].exits]
    stays = run.stays(0)
    assert unpack(document.runs[0].stays[0].from_).tolist() == [stay.from_ms for stay in stays]
    assert unpack(document.runs[0].stays[0].phase).tolist() == [stay.phase for stay in stays]


def test_the_trouble_is_told_in_the_words_of_the_dry_run(document: ReportDocument) -> None:
    (trouble,) = document.runs[0].troubles
    assert trouble.kind == "timeout"
    assert trouble.at == 9220
    assert "waited for left_leg_roll to come within 2 deg of -13 deg" in trouble.words
    assert "1.32 deg short" in trouble.words
    assert document.runs[0].failed


def test_the_foot_that_never_lifts_is_seen_to_stay_down(document: ReportDocument) -> None:
    left, right = document.runs[0].contacts
    assert (left.name, right.name, right.source) == ("left", "right", "measured")
    assert len(unpack(right.from_)) == 1  # it comes down once, and stays
    assert len(unpack(left.from_)) == 2


def test_thresholds_stand_where_the_guard_waited(gait: Gait, document: ReportDocument) -> None:
    marks = document.runs[0].marks
    assert marks is not None
    columns = RunColumns(gait.plan)
    names = [signal.name for signal in gait.plan.signals]
    roll = columns.signal + names.index("left_leg_roll")
    at = (unpack(marks.from_) <= 9000) & (unpack(marks.to) > 9000) & (unpack(marks.column) == roll)
    # lean_left: target -15, the left leg stands 2 deg to the left of it; reached, short by 2, falling
    assert unpack(marks.high)[at].tolist() == [-11.0]
    assert np.isnan(unpack(marks.low)[at]).all()


def test_places_are_those_lines_of_the_file(document: ReportDocument) -> None:
    gait = document.walk.gait
    assert gait is not None
    lines = STORK.read_text().splitlines()
    assert gait.files[0].lines == lines
    phase = document.walk.sequences[0].phases[1]
    assert phase.name == "lean_right"
    assert phase.place is not None
    block = lines[phase.place.line - 1 : phase.place.last]
    assert block[0].strip().startswith("lean_right:")
    assert block[-1].strip().startswith("hold: 3 samples")
    assert lines[phase.place.last].startswith("  lift_left:")


def test_the_same_run_gives_the_same_text_without_a_path_or_a_date(gait: Gait, run: Run) -> None:
    texts = {
        json_text(report_document(gait.plan, [RunSource(STUCK.name, run)], gait.check())) for _ in range(2)
    }
    (text,) = texts
    assert str(STORK.parent) not in text
    assert str(Path.cwd()) not in text
    assert json.loads(text)["runs"][0]["name"] == "foot_stuck.csv"


def test_a_run_of_which_no_tick_was_kept_gives_the_same_when_it_is_run_again(gait: Gait, run: Run) -> None:
    bare = gait.dry_run(STUCK, executor="reference", margins=False)

    def again(watch: object) -> None:
        gait.dry_run(STUCK, executor="reference", margins=False, watch=watch)  # type: ignore[arg-type]

    whole, late = (
        report_document(gait.plan, [source]).runs[0]
        for source in (RunSource("x", run), RunSource("x", bare, again))
    )
    assert late.columns == whole.columns
    assert late.contacts == whole.contacts
    assert late.battery == whole.battery
    assert late.marks == whole.marks
    assert late.clock == whole.clock
