"""The bytes between a trace and a program: spelled out by hand, and there and back through a real program."""

from dataclasses import replace
from pathlib import Path
from random import Random

import pytest
from support.plans import Phase, make_plan, signal
from support.prove import differences, random_cases
from support.random_plans import random_block, random_plan

from sequencer.executors.reference import ReferenceExecutor
from sequencer.history.compare import first_difference
from sequencer.prove.controllers import controller
from sequencer.prove.images import build_image, replay
from sequencer.prove.wire import Form, as_record, decode_run, encode_run
from sequencer.trace.blocks import (
    FRESH_VALUE,
    HEARD,
    RESET,
    STEP,
    STEPPING,
    ParameterWrite,
    TickBlock,
    empty_block,
)


def test_a_run_is_spelled_as_the_module_says() -> None:
    block = empty_block(3, 2)
    block.now[:] = (0x01020304, 0x0102030E, 5)
    block.raw[1] = (1.0, -2.0)  # 0x3f800000, 0xc0000000
    block.fresh[1] = (0, FRESH_VALUE)
    block.events[2] = 3
    block.switches[:] = (0, 1, 1)
    block.control[:] = (HEARD, STEPPING | STEP, HEARD | RESET)
    block = replace(block, writes=(ParameterWrite(2, 7, 1.0),))
    plan = replace(make_plan({"walk": [Phase("stand")]}), helping=True)
    assert encode_run(9, [block], plan) == bytes(
        [
            *(9,),
            *(0x40 | 1 | 2, 4, 3, 2, 1),
            *(0x40 | 8 | 16 | 32, 1, 0, 0, 0, 6, 0, 2, 0, 0, 0, 0xC0),
            *(0x80,),
            *(0x81, 7, 0, 0, 0x80, 0x3F),
            *(0x40 | 1 | 2 | 4, 5, 0, 0, 0, 3, 0, 0, 0),
            *(0xC0, 0x00),
        ]
    )


def cut(block: TickBlock, rows: slice) -> TickBlock:
    names = ("now", "raw", "fresh", "events", "switches", "control")
    inside = [w for w in block.writes if rows.start <= w.row < rows.stop]
    writes = tuple(replace(w, row=w.row - rows.start) for w in inside)
    return TickBlock(**{name: getattr(block, name)[rows] for name in names}, writes=writes)


def test_blocks_in_a_row_are_spelled_as_one() -> None:
    for number in range(20):
        rng = Random(f"wire/{number}")
        plan, pool = random_plan(rng)
        block = random_block(rng, plan, pool, 60)
        parts = [cut(block, slice(0, 17)), cut(block, slice(17, 18)), cut(block, slice(18, 60))]
        assert encode_run(1, parts, plan) == encode_run(1, [block], plan)


def test_a_machine_without_signals_goes_through(tmp_path: Path) -> None:
    plan = make_plan({"walk": [Phase("stand")]}, events=(), switches=())
    block = empty_block(5, 0)
    block.now[:] = (0, 10, 20, 0xFFFFFFFF, 9)
    record = ReferenceExecutor(plan).run(block, detail=True)
    for watched in (False, True):
        image = build_image(controller("host"), [Form(plan, watched, range(0))], tmp_path / str(watched))
        (reply,) = replay(image, [(0, [block])])
        assert first_difference(plan, record, as_record(reply, record)) is None


def test_an_empty_trace_goes_through(tmp_path: Path) -> None:
    plan = make_plan({"walk": [Phase("stand")]}, signals=[signal("tilt")])
    image = build_image(controller("host"), [Form(plan, watched=True, leaves=range(0))], tmp_path)
    replies = replay(image, [(0, []), (0, [empty_block(0, 1)])])
    assert [len(reply.frames) for reply in replies] == [0, 0]


@pytest.mark.parametrize("missing", [1, 4, 40])
def test_output_that_broke_off_is_not_taken(missing: int) -> None:
    plan = make_plan({"walk": [Phase("stand")]}, signals=[signal("tilt")])
    form = Form(plan, watched=True, leaves=range(0))
    decode_run(form, bytes(form.size(10)), 10)
    with pytest.raises(ValueError, match="came back"):
        decode_run(form, bytes(form.size(10) - missing), 10)


def test_runs_in_a_row_do_not_hear_of_each_other(tmp_path: Path) -> None:
    """The same program runs its gaits one after the other in the same memory."""
    cases = random_cases("wire", 4, 100)
    assert differences("host", [*cases], tmp_path) == []
    forms = [Form(case.plan, watched=True, leaves=range(len(case.plan.leaves))) for case in cases]
    image = build_image(controller("host"), forms, tmp_path / "again")
    order = (3, 0, 3, 1, 2, 1, 0)
    replies = replay(image, [(i, [cases[i].block]) for i in order])
    for i, reply in zip(order, replies, strict=True):
        record = cases[i].record
        assert first_difference(cases[i].plan, record, as_record(reply, record)) is None
    for first, second in ((0, 2), (3, 5), (1, 6)):
        assert replies[first].frames.tobytes() == replies[second].frames.tobytes()
