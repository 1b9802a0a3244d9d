"""Address and undefined-behaviour sanitizers over random inputs find nothing, and find what is planted."""

from pathlib import Path
from random import Random

import numpy as np
import pytest
from support.builds import write_files
from support.random_drives import drives_plan
from support.random_plans import random_block, random_plan
from support.random_steps import steps_drives_plan, steps_plan
from support.strict import SANITIZED

from sequencer.base.errors import ToolError
from sequencer.build.programs import run_program
from sequencer.executors.reference import ReferenceExecutor
from sequencer.generate.host import host_files
from sequencer.plan.tables import Plan
from sequencer.trace.blocks import TickBlock
from sequencer.trace.steps import block_in_steps

DRIVER = Path(__file__).parent / "sanitize.cpp"


def run_sanitized(
    plan: Plan, block: TickBlock, compiler: str, folder: Path, *, plant: tuple[str, str] = ("", "")
) -> bytes:
    """Build and run with sanitizers; give phases, setpoints, outputs. Raises ToolError with their report."""
    files, glue = host_files(plan)
    if plant[0]:
        planted = {name: text.replace(*plant) for name, text in files.items()}
        assert planted != files
        files = planted
    write_files(files.items(), folder)
    write_files(
        [("main.cpp", DRIVER.read_text(encoding="utf-8").replace("glue_under_test.cpp", glue))], folder
    )
    run_program([compiler, *SANITIZED, "-o", "run", "main.cpp"], folder=folder)
    write_inputs(plan, block, folder / "inputs")
    run_program([folder / "run", "inputs", "outputs"], folder=folder)
    return (folder / "outputs").read_bytes()


def write_inputs(plan: Plan, block: TickBlock, path: Path) -> None:
    sizes = [
        len(block), len(plan.signals), len(block.writes), len(plan.sequences), len(plan.setpoints),
        len(plan.counters), len(plan.rules), len(plan.leaves), len(plan.loops), len(plan.outputs), 0,
    ]  # fmt: skip
    arrays = [
        np.array(sizes, np.int64), block.now, block.raw, block.fresh, block.events, block.switches,
        block.control,
        np.array([w.row for w in block.writes], np.int64),
        np.array([w.parameter for w in block.writes], np.uint32),
        np.array([min(w.value, 3e38) for w in block.writes], np.float32),
    ]  # fmt: skip
    path.write_bytes(b"".join(array.tobytes() for array in arrays))


def case(number: int) -> tuple[Plan, TickBlock]:
    rng = Random(f"sanitized/{number}")
    draw = (random_plan, drives_plan, steps_plan, steps_drives_plan)[number % 4]
    plan, pool = draw(rng, "walk")
    return plan, random_block(rng, plan, pool, 2000)


@pytest.mark.parametrize("number", range(8))
@pytest.mark.parametrize("compiler", ["g++", "clang++"])
def test_sanitizers_find_nothing_and_the_run_is_the_same(compiler: str, number: int, tmp_path: Path) -> None:
    plan, block = case(number)
    try:
        given = block if plan.fixed is None else block_in_steps(plan, block)
        output = run_sanitized(plan, given, compiler, tmp_path)
    except ToolError as error:
        error.add_note(error.output)
        raise
    record = ReferenceExecutor(plan).run(block)
    setpoint = record.setpoint
    if plan.fixed is not None:  # the program gives steps
        setpoint = np.rint(setpoint / np.array(plan.fixed.setpoints, np.float32)) + np.float32(0.0)
    assert output == record.phase.tobytes() + setpoint.tobytes() + record.output.tobytes()


@pytest.mark.parametrize("compiler", ["g++", "clang++"])
def test_a_step_over_the_end_of_an_array_is_found(compiler: str, tmp_path: Path) -> None:
    plan, block = case(0)
    signals = len(plan.signals)
    plant = (f"for (int64_t k = 0; k < {signals}; ++k)", f"for (int64_t k = 0; k <= {signals}; ++k)")
    with pytest.raises(ToolError) as caught:
        run_sanitized(plan, block, compiler, tmp_path, plant=plant)
    assert "out of bounds" in caught.value.output or "buffer-overflow" in caught.value.output
