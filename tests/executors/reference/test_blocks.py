"""Executors take ticks in blocks and keep their state from one to the next."""

from dataclasses import replace

import numpy as np
import pytest
from support.executors import MakeExecutor
from support.plans import Phase, make_plan, parameter, setpoint
from support.stork import stork_inputs, stork_plan

from sequencer.base.errors import MisuseError
from sequencer.history.compare import first_difference
from sequencer.history.recorder import join
from sequencer.plan.tables import Level
from sequencer.trace.blocks import ParameterWrite, TickBlock, empty_block

STORK = stork_plan()


def cut(block: TickBlock, *sizes: int) -> list[TickBlock]:
    parts, start = [], 0
    for size in sizes:
        rows = slice(start, start + size)
        parts.append(
            TickBlock(
                block.now[rows], block.raw[rows], block.fresh[rows], block.events[rows],
                block.switches[rows], block.control[rows],
            )
        )  # fmt: skip
        start += size
    return parts


@pytest.mark.parametrize("detail", [False, True])
def test_blocks_of_any_size_give_the_record_of_the_whole(make_executor: MakeExecutor, detail: bool) -> None:
    block = stork_inputs(9000)
    whole = make_executor(STORK).run(block, detail=detail)
    executor = make_executor(STORK)
    parts = [executor.run(part, detail=detail) for part in cut(block, 1, 0, 4095, 4096, 4097 - 3289)]
    assert sum(map(len, parts)) == 9000
    assert (whole.cause != 0).sum() > 80  # it walks
    assert first_difference(STORK, whole, join(STORK, parts)) is None


def test_detail_changes_nothing_else(make_executor: MakeExecutor) -> None:
    block = stork_inputs(2000)
    executor = make_executor(STORK)
    mixed = [executor.run(part, detail=i % 2 == 0) for i, part in enumerate(cut(block, 500, 500, 500, 500))]
    plain = make_executor(STORK).run(block)
    assert plain.detail is None
    assert first_difference(STORK, plain, join(STORK, mixed)) is None


def test_the_setpoints_of_the_last_tick_can_be_asked_for(make_executor: MakeExecutor) -> None:
    executor = make_executor(STORK)
    assert executor.setpoints.tolist() == [0.0, 0.0, 0.0]  # type: ignore[attr-defined]
    record = executor.run(stork_inputs(150))
    assert executor.setpoints.dtype == np.float32  # type: ignore[attr-defined]
    assert executor.setpoints.tolist() == record.setpoint[-1].tolist() != [0.0, 0.0, 0.0]  # type: ignore[attr-defined]


def test_a_block_with_the_wrong_number_of_columns_is_misuse(make_executor: MakeExecutor) -> None:
    with pytest.raises(MisuseError):
        make_executor(STORK).run(empty_block(3, 5))


WRITABLE = make_plan(
    {"walk": [Phase("a", set={"x": Level(None, 0)})]},
    setpoints=[setpoint("x")],
    parameters=[parameter("p", 1, 0, 10)],
)


@pytest.mark.parametrize("number", [-1, 1])
def test_a_write_to_a_parameter_that_does_not_exist_is_misuse(
    make_executor: MakeExecutor, number: int
) -> None:
    block = replace(empty_block(3, 0), writes=(ParameterWrite(0, number, 2.0),))
    with pytest.raises(MisuseError):
        make_executor(WRITABLE).run(block)


def test_writes_take_effect_in_their_row_in_whatever_order_they_are_listed(
    make_executor: MakeExecutor,
) -> None:
    writes = (ParameterWrite(4, 0, 9.0), ParameterWrite(2, 0, 3.0), ParameterWrite(2, 0, 4.0))
    record = make_executor(WRITABLE).run(replace(empty_block(6, 0), writes=writes))
    assert record.setpoint[:, 0].tolist() == [1, 1, 4, 4, 9, 9]


def test_an_empty_block_is_no_tick(make_executor: MakeExecutor) -> None:
    executor = make_executor(WRITABLE)
    assert len(executor.run(empty_block(0, 0))) == 0
    assert executor.run(empty_block(1, 0)).cause.tolist() == [[1 << 8]]


def test_the_record_holds_the_clock_and_starts_with_what_the_file_says(make_executor: MakeExecutor) -> None:
    executor = make_executor(WRITABLE)
    assert executor.parameters == (1.0,)  # type: ignore[attr-defined]
    block = empty_block(3, 0)
    block.now[:] = (2**32 - 5, 5, 15)
    assert executor.run(block).now.tolist() == [2**32 - 5, 5, 15]
