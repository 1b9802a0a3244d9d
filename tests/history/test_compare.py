"""Two records agree to the bit, or the first difference is shown with both states."""

from dataclasses import replace

import numpy as np
import pytest
from support.stork import stork_inputs, stork_plan

from sequencer.base.errors import DifferenceError
from sequencer.executors.reference import ReferenceExecutor
from sequencer.history.blocks import HistoryBlock
from sequencer.history.compare import TwinExecutor, first_difference
from sequencer.trace.blocks import TickBlock

PLAN = stork_plan()


def recorded() -> HistoryBlock:
    return ReferenceExecutor(PLAN).run(stork_inputs(500), detail=True)


def test_equal_records_have_no_difference() -> None:
    assert first_difference(PLAN, recorded(), recorded()) is None


@pytest.mark.parametrize(
    ("field", "column", "where"),
    [
        ("phase", 0, "phase of walk"),
        ("cause", 0, "cause of walk"),
        ("counter", 0, "counter of steps"),
        ("rule", 1, "rule of weight left"),
        ("drives", None, "drives"),
        ("pulses", None, "pulses"),
        ("now", None, "now"),
    ],
)
def test_the_first_differing_tick_is_found_in_every_field(field: str, column: int | None, where: str) -> None:
    a, b = recorded(), recorded()
    rows = getattr(b, field) if column is None else getattr(b, field)[:, column]
    rows[333] += 1
    rows[400] += 1
    found = first_difference(PLAN, a, b)
    assert found is not None
    assert (found.row, found.field, found.second - found.first) == (333, where, 1)


def test_the_earliest_tick_counts_whichever_field_differs_in_it() -> None:
    a, b = recorded(), recorded()
    b.phase[400, 0] += 1
    b.pulses[333] += 1
    found = first_difference(PLAN, a, b)
    assert found is not None
    assert (found.row, found.field) == (333, "pulses")


@pytest.mark.parametrize(
    ("field", "column", "where"),
    [("target", 0, "target of lean"), ("signal", 3, "signal of left_knee"), ("truth", 1, "leaf 1")],
)
def test_detail_is_compared_if_both_have_it(field: str, column: int, where: str) -> None:
    a, b = recorded(), recorded()
    getattr(b.detail, field)[77, column] += 1
    found = first_difference(PLAN, a, b)
    assert found is not None
    assert found.row == 77
    assert where in found.field
    assert first_difference(PLAN, a, replace(b, detail=None)) is None


def test_one_last_bit_is_a_difference_and_so_is_the_sign_of_zero() -> None:
    a, b = recorded(), recorded()
    b.setpoint[200, 0] = np.nextafter(b.setpoint[200, 0], np.float32(99))
    found = first_difference(PLAN, a, b)
    assert found is not None
    assert (found.row, found.field) == (200, "setpoint of lean")
    a, b = recorded(), recorded()
    assert a.setpoint[3, 1] == 0
    b.setpoint[3, 1] = -0.0
    found = first_difference(PLAN, a, b)
    assert found is not None
    assert found.row == 3


def test_nan_equals_nan_whatever_its_bits() -> None:
    a, b = recorded(), recorded()
    assert a.detail is not None
    assert b.detail is not None
    assert np.isnan(b.detail.margin[5, 0])
    b.detail.margin.view(np.uint32)[5, 0] = 0xFFC0_0001
    assert np.isnan(b.detail.margin[5, 0])
    assert first_difference(PLAN, a, b) is None
    b.detail.margin[5, 0] = 0
    assert first_difference(PLAN, a, b) is not None


@pytest.mark.parametrize("total", ["bad", "disbelieved", "outside"])
def test_totals_are_compared_too(total: str) -> None:
    a, b = recorded(), recorded()
    getattr(b, total)[4] += 2
    found = first_difference(PLAN, a, b)
    assert found is not None
    assert (found.row, found.field) == (499, f"{total} of right_knee")
    found = first_difference(PLAN, a, replace(a, refused=1))
    assert found is not None
    assert found.field == "refused"


def test_records_of_different_lengths_are_not_comparable() -> None:
    with pytest.raises(ValueError, match="500 and 3 ticks"):
        first_difference(PLAN, recorded(), ReferenceExecutor(PLAN).run(stork_inputs(3)))


class OneBitOff:
    """The reference executor with one bit wrong in its tick number 1234."""

    def __init__(self) -> None:
        self.plan = PLAN
        self._inner = ReferenceExecutor(PLAN)
        self._ticks = 0

    def reset(self) -> None:
        self._inner.reset()

    def run(self, block: TickBlock, *, detail: bool = False) -> HistoryBlock:
        record = self._inner.run(block, detail=detail)
        row = 1234 - self._ticks
        if 0 <= row < len(block):
            record.setpoint[row, 1:2].view(np.uint32)[:] ^= 1
        self._ticks += len(block)
        return record


def test_twins_that_differ_stop_at_the_first_differing_tick_with_both_states() -> None:
    twins = TwinExecutor(ReferenceExecutor(PLAN), OneBitOff())
    twins.run(stork_inputs(1000))
    with pytest.raises(DifferenceError, match="tick 1234: setpoint of left_bend") as caught:
        twins.run(stork_inputs(1000))
    report = caught.value.report
    for text in (
        "first, tick before",
        "first, this tick",
        "second, this tick",
        "walk: phase",
        "lean: ",
        "0x",
    ):
        assert text in report


def test_twins_that_agree_give_the_first_ones_record() -> None:
    twins = TwinExecutor(ReferenceExecutor(PLAN), ReferenceExecutor(PLAN))
    alone = ReferenceExecutor(PLAN).run(stork_inputs(700), detail=True)
    assert first_difference(PLAN, alone, twins.run(stork_inputs(700), detail=True)) is None
    twins.reset()
    assert twins.run(stork_inputs(1)).cause[0, 0] == 1 << 8
