"""The sequencer in whole steps (arithmetic: int16) over the same walk in binary32, on small controllers.

The walks are those beside this file. Both forms must first decide the same as their reference, to the bit.
"""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sequencer.build.emulators import COUNTS_PER_INSTRUCTION
from sequencer.build.programs import run_program
from sequencer.build.sizes import sizes_of
from sequencer.executors.reference import ReferenceExecutor
from sequencer.history.compare import first_difference
from sequencer.plan.build import load_plan
from sequencer.plan.fixed import in_int16
from sequencer.plan.tables import Plan
from sequencer.prove.controllers import controller
from sequencer.prove.images import build_image, replay
from sequencer.prove.inputs import followed, random_traces
from sequencer.prove.wire import Form, as_record
from sequencer.trace.blocks import TickBlock

HERE = Path(__file__).parent
WALKS = ("stork", "eight_phases")
CONTROLLERS = ("atmega328p", "cortex-m3")
TICKS = 4000


def plans(walk: str) -> tuple[Plan, Plan]:
    plain = load_plan(HERE / f"{walk}.gait.yaml")
    whole, problems = in_int16(plain, {})
    assert problems == []
    return plain, replace(whole, sha=plain.sha)


def inputs(walk: str, plan: Plan) -> TickBlock:
    """A walk that goes round; the eight phases set nothing, so theirs comes from a disturbed one."""
    if walk == "stork":
        return followed(plan, TICKS).block
    return next(t.block for t in random_traces(plan, 2, TICKS) if t.name.startswith("disturbed"))


def figures(plan: Plan, block: TickBlock, name: str, folder: Path) -> tuple[float, ...]:
    target = controller(name)
    assert target.compiler is not None
    image = build_image(target, [Form(plan, watched=False, leaves=range(0))], folder)
    (reply,) = replay(image, [(0, [block])])
    record = ReferenceExecutor(plan).run(block, detail=True)
    assert first_difference(plan, record, as_record(reply, record)) is None
    compiler = target.compiler
    source = f"{plan.name}.cpp"
    run_program([compiler.program, *compiler.flags, "-c", "-o", "only.o", source], folder=folder)
    unit = COUNTS_PER_INSTRUCTION if target.unit == "instructions" else 1.0
    cost = reply.frames["cost"] / unit
    return (
        sizes_of(compiler.size, folder / "only.o").flash,
        reply.state,
        float(np.median(cost)),
        float(cost.max()),
    )


@pytest.mark.parametrize("walk", WALKS)
def test_whole_steps_over_binary32(walk: str, tmp_path: Path, print_table: Callable[[str], None]) -> None:
    plain, whole = plans(walk)
    block = inputs(walk, plain)
    lines = [f"{walk:34} {'int16':>8} {'binary32':>8} {'ratio':>6}"]
    for name in CONTROLLERS:
        made = [figures(plan, block, name, tmp_path / f"{name}-{i}") for i, plan in enumerate((whole, plain))]
        unit = controller(name).unit
        what = ("bytes of the object", "bytes of a State", f"{unit} a tick, median", f"{unit} a tick, worst")
        lines.append(controller(name).title)
        lines += [f"  {row:32} {a:8.0f} {b:8.0f} {a / b:6.2f}" for row, a, b in zip(what, *made, strict=True)]
    print_table("\n".join(lines))
