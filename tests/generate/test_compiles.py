"""The portable target under real compilers: no warning on any of them, for hosts and for controllers."""

import re
from pathlib import Path
from random import Random

import pytest
from support.builds import write_files
from support.commands import REPOSITORY
from support.feature_plans import feature_plans
from support.random_plans import random_plan
from support.random_steps import steps_drives_plan, steps_plan
from support.strict import STRICT

from sequencer.base.errors import ToolError
from sequencer.build.compilers import compile_object
from sequencer.generate.layout import lay_out
from sequencer.generate.render import generate
from sequencer.plan.build import load_plan
from sequencer.plan.tables import Plan


def compile_each(plans: list[Plan], command: list[str], folder: Path) -> None:
    for plan in plans:
        files = generate(plan)
        write_files(files.items(), folder)
        for source in (name for name in files if name.endswith(".cpp")):
            try:
                compile_object(command, folder, source, "out.o")
            except ToolError as error:
                error.add_note(error.output)
                raise


@pytest.mark.parametrize("command", STRICT.values(), ids=STRICT)
def test_every_feature_compiles_without_a_warning(command: list[str], tmp_path: Path) -> None:
    compile_each(list(feature_plans().values()), command, tmp_path)


@pytest.mark.parametrize("command", STRICT.values(), ids=STRICT)
def test_random_gaits_compile_without_a_warning(command: list[str], tmp_path: Path) -> None:
    compile_each([random_plan(Random(f"strict/{i}"), f"g{i}")[0] for i in range(15)], command, tmp_path)


@pytest.mark.parametrize("command", STRICT.values(), ids=STRICT)
def test_random_gaits_in_whole_steps_compile_without_a_warning(command: list[str], tmp_path: Path) -> None:
    draws = (steps_plan, steps_plan, steps_drives_plan)
    compile_each([draws[i % 3](Random(f"strict/{i}"), f"g{i}")[0] for i in range(9)], command, tmp_path)


@pytest.mark.parametrize("command", STRICT.values(), ids=STRICT)
def test_the_stork_compiles_without_a_warning(command: list[str], tmp_path: Path) -> None:
    compile_each([load_plan(REPOSITORY / "examples/stork/stork.gait.yaml")], command, tmp_path)


@pytest.mark.parametrize("names", [False, True], ids=["without names", "with names"])
def test_the_header_stands_alone_and_twice(names: bool, tmp_path: Path) -> None:
    plan = feature_plans()["sequences"]
    write_files(generate(plan).items(), tmp_path)
    text = "#define SEQUENCES_WITH_NAMES 1\n" * names + '#include "sequences.h"\n' * 2
    text += "static sequences::State s;\nextern sequences::State* where;\nsequences::State* where = &s;\n"
    write_files([("twice.cpp", text)], tmp_path)
    command = [flag for flag in STRICT["g++"] if flag != "-Wunused-macros"]
    compile_object(command, tmp_path, "twice.cpp", "out.o")


def test_a_machine_is_all_that_is_needed_to_use_loops_and_outputs(tmp_path: Path) -> None:
    """It is a State, too: `reset` and the rest work on it, and `begin` and `tick` are those of the loops."""
    write_files(generate(feature_plans()["outputs"]).items(), tmp_path)
    text = """#include "outputs_loops.h"
#include "outputs_loops.h"
float use(outputs::Machine& m, outputs::Inputs& in);
float use(outputs::Machine& m, outputs::Inputs& in) {
  outputs::begin(m);
  outputs::tick(m, in);
  outputs::reset(m);
  const outputs::OutputState state = outputs::state_of(m, outputs::output_fan);
  const bool on = outputs::drives_on(m) && (state == outputs::OutputState::on);
  return on ? outputs::output(m, outputs::output_fan) : outputs::correction(m, outputs::loop_hip);
}
"""
    write_files([("use.cpp", text)], tmp_path)
    for command in STRICT.values():
        compile_object(command, tmp_path, "use.cpp", "out.o")


def test_a_gait_without_loops_and_outputs_has_no_files_for_them() -> None:
    for name, plan in feature_plans().items():
        files = [file for file in generate(plan) if "_loops." in file]
        assert len(files) == (2 if plan.loops or plan.outputs else 0), name


@pytest.mark.parametrize("target", ["portable"])
def test_the_text_needs_nothing_but_stdint(target: str) -> None:
    for plan in feature_plans().values():
        for name, text in generate(plan, target).items():
            includes = {
                line.split(maxsplit=1)[1] for line in text.splitlines() if line.startswith("#include")
            }
            own = {f'"{header}"' for header in generate(plan, target) if header.endswith(".h")}
            assert includes <= {"<stdint.h>"} | own, name


def code_of(text: str) -> str:
    """The text without comments and without what stands between quotes."""
    return re.sub(r'"[^"]*"', '""', "\n".join(line.partition("//")[0] for line in text.splitlines()))


# names of compilers that the code asks or calls, never declares
OF_COMPILERS = {
    "__FAST_MATH__",
    "__FLT_EVAL_METHOD__",
    "__GNUC__",
    "__AVR__",
    "__SOFTFP__",
    "__builtin_memcpy",
    "__builtin_fabsf",
    "__attribute__",
    "__OPTIMIZE_SIZE__",
}


def test_the_code_has_no_reserved_names_and_nothing_from_the_heap() -> None:
    for plan in feature_plans().values():
        for name, text in generate(plan).items():
            words = set(re.findall(r"[A-Za-z_0-9]+", code_of(text)))
            assert {w for w in words if "__" in w} <= OF_COMPILERS, name
            assert not {w for w in words if re.match(r"_[A-Z]", w)}, name
            assert not words & {"double", "new", "delete", "malloc", "throw", "try", "virtual", "typeid"}, (
                name
            )


def test_every_number_with_a_point_is_a_float() -> None:
    for plan in feature_plans().values():
        for name, text in generate(plan).items():
            numbers = re.findall(r"(?<![\w.])\d+\.\d+[\w+-]*", code_of(text))
            assert [n for n in numbers if not n.endswith("F")] == [], name


def test_the_header_warns_about_stops_and_names_the_gait() -> None:
    for plan in feature_plans().values():
        header = generate(plan)[lay_out(plan).header]
        assert "NOT an emergency stop (IEC 60204-1, ISO 13850)" in header
        assert plan.sha in header
        assert "hoisted or on a stand" in header


def test_the_header_of_loops_says_what_a_stop_lets_sink() -> None:
    text = generate(load_plan(REPOSITORY / "examples/stork/stork.gait.yaml"))["stork_stepping_loops.h"]
    words = "Stop phase safe: the outputs go off at the end; left_knee_motor, right_knee_motor may sink."
    assert f"// - {words}\n" in text
