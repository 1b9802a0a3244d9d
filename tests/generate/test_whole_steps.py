"""The sequencer in whole steps: no float in its files, and text that says what a step is."""

import re
from pathlib import Path

import pytest
from support.builds import write_files
from support.commands import STORK
from support.feature_plans import feature_plans
from support.strict import STRICT
from support.whole_stork import whole_stork

from sequencer.base.errors import MisuseError
from sequencer.build.compilers import compile_object
from sequencer.build.programs import run_program
from sequencer.generate.render import generate
from sequencer.plan.build import load_plan
from sequencer.plan.tables import Plan

FLOAT = re.compile(r"float|double|\d\.\d")
# what GCC calls without a float unit: __addsf3, __floatsisf, __gesf2, __aeabi_fadd, __aeabi_i2f ...
CALLS = re.compile(r"__\w*(?:[sd]f\d?\b|sf\w*|aeabi_[fd]\w+|aeabi_\w*2[fd])")


def code_of(text: str) -> str:
    """Leave out remarks."""
    return re.sub(r"//[^\n]*", "", text)


def undefined(plan: Plan, compiler: str, folder: Path) -> str:
    """Compile the sequencer's file and list what its object calls."""
    write_files(generate(plan).items(), folder)
    compile_object(STRICT[compiler], folder, f"{plan.name}.cpp", "out.o")
    tool = {"avr-g++": "avr-nm"}.get(compiler, "arm-none-eabi-nm")
    return run_program([tool, "--undefined-only", "out.o"], folder=folder)


def test_there_is_no_float_in_the_sequencers_files(tmp_path: Path) -> None:
    for plan in (whole_stork(tmp_path), feature_plans()["whole_steps"]):
        files = generate(plan)
        for name in (f"{plan.name}.cpp", f"{plan.name}.h"):
            assert FLOAT.search(code_of(files[name])) is None, name


def test_a_float_in_a_file_would_be_found() -> None:
    files = generate(feature_plans()["setpoints"])
    assert FLOAT.search(code_of(files["setpoints.cpp"])) is not None
    assert FLOAT.search(code_of("x = 0.5; // 0.01")) is not None


def test_the_text_says_how_large_a_step_is() -> None:
    header = generate(feature_plans()["whole_steps"])["whole_steps.h"]
    assert "signal_tilt = 0U,  // in steps of 0.01 deg" in header
    assert "int16_t value[3];" in header and "no_number = -32768" in header


@pytest.mark.parametrize("compiler", ["avr-g++", "arm-none-eabi-g++ M3"])
def test_no_object_calls_what_computes_with_floats(compiler: str, tmp_path: Path) -> None:
    assert CALLS.findall(undefined(whole_stork(tmp_path), compiler, tmp_path)) == []


@pytest.mark.parametrize("compiler", ["avr-g++", "arm-none-eabi-g++ M3"])
def test_calls_that_compute_with_floats_are_found(compiler: str, tmp_path: Path) -> None:
    assert CALLS.findall(undefined(load_plan(STORK), compiler, tmp_path)) != []


def test_the_program_of_a_board_refuses_whole_steps(tmp_path: Path) -> None:
    with pytest.raises(MisuseError, match="counts in binary32"):
        generate(whole_stork(tmp_path), "board")
