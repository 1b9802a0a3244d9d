"""The self-test: built and run as its own comment says, on this computer and on an emulated 8-bit board."""

import re
import subprocess
from pathlib import Path

import pytest
from support.builds import write_files
from support.commands import REPOSITORY, STORK, call
from support.feature_plans import feature_plans

from sequencer.base.errors import ToolError
from sequencer.build.cross import link
from sequencer.build.emulators import INPUT, OUTPUT
from sequencer.prove.controllers import build, controller
from sequencer.prove.inputs import random_traces
from sequencer.prove.selftest import selftest_files

WALK = REPOSITORY / "examples" / "stork" / "recordings" / "walk.csv"
WARNINGS = "-Wall -Wextra -Wshadow -Wconversion -Werror".split()


def output_of(folder: Path) -> str:
    sources = sorted(path.name for path in folder.glob("*.cpp"))
    subprocess.run(["g++", *WARNINGS, "-o", "selftest", *sources], cwd=folder, check=True)
    return subprocess.run([folder / "selftest"], capture_output=True, text=True, check=True).stdout


@pytest.fixture
def stork(tmp_path: Path) -> Path:
    assert call("generate", STORK, "--self-test", WALK, "-o", tmp_path).returncode == 0
    return tmp_path


def test_the_stork_prints_what_it_must(stork: Path) -> None:
    text = output_of(stork)
    assert text == (stork / "stork_stepping_selftest.txt").read_text(encoding="ascii")
    lines = text.splitlines()
    assert len(lines) == 2 + 3000
    motors = [
        f"output_{side}_{joint}_motor" for joint in ("hip", "ankle", "knee") for side in ("left", "right")
    ]
    setpoints = "setpoint_lean setpoint_left_bend setpoint_right_bend"
    assert lines[1] == f"# tick now walk drives {setpoints} {' '.join(motors)}"
    assert re.fullmatch(r"0 0 0 1 00000000 00000000 00000000( [0-9a-f]{8}){6}", lines[2])
    outputs = {word for line in lines[2:] for word in line.split()[7:]}
    assert len(outputs) > 1000, "the motors are told all kinds of things"
    assert any(" 41700000 " in line for line in lines), "15 deg, IEEE 754: 0x41700000"


def test_a_changed_number_in_the_code_changes_the_text(stork: Path) -> None:
    path = stork / "stork_stepping.cpp"
    text = path.read_text(encoding="ascii")
    assert "0.16F" in text
    path.write_text(text.replace("0.16F", "0.16000001F"), encoding="ascii")
    wanted = (stork / "stork_stepping_selftest.txt").read_text(encoding="ascii")
    assert output_of(stork) != wanted


def test_a_changed_gain_changes_the_text(stork: Path) -> None:
    path = stork / "stork_stepping_loops.cpp"
    text = path.read_text(encoding="ascii")
    assert "0.12F" in text
    path.write_text(text.replace("0.12F", "0.12000001F"), encoding="ascii")
    wanted = (stork / "stork_stepping_selftest.txt").read_text(encoding="ascii")
    assert output_of(stork) != wanted


def test_every_feature_has_a_self_test(tmp_path: Path) -> None:
    for name, plan in feature_plans().items():
        folder = tmp_path / name
        folder.mkdir()
        (trace,) = random_traces(plan, 1, 200)
        files = selftest_files(plan, trace)
        write_files(files.items(), folder)
        expected = next(text for file, text in files.items() if file.endswith("_selftest.txt"))
        assert output_of(folder) == expected, name


def test_it_runs_on_an_8_bit_board_with_a_print_of_its_own(tmp_path: Path) -> None:
    plan = feature_plans()["holds"]
    (trace,) = random_traces(plan, 1, 150)
    files = selftest_files(plan, trace)
    files["holds_selftest_hooks.h"] = """
#include <avr/io.h>
inline void selftest_begin() {}
inline void selftest_print(const char* text) { for (; *text != 0; ++text) { GPIOR2 = *text; } }
"""
    text = files["holds_selftest.cpp"]
    files["holds_selftest.cpp"] = text.replace("  return 0;\n}", "  GPIOR0 = 3;\n  return 0;\n}")
    write_files(files.items(), tmp_path)
    board = controller("atmega328p")
    program = build(board, tmp_path, ("holds.cpp", "holds_selftest.cpp"), *WARNINGS)
    (tmp_path / INPUT).write_bytes(b"")
    board.run(program, 60)
    assert (tmp_path / OUTPUT).read_text(encoding="ascii") == files["holds_selftest.txt"]


def test_a_small_board_takes_the_first_ticks_only(stork: Path, tmp_path: Path) -> None:
    command = controller("atmega328p").compiler
    assert command is not None
    hooks = "inline void selftest_begin() {}\ninline void selftest_print(const char* text) { (void)text; }\n"
    (stork / "stork_stepping_selftest_hooks.h").write_text(hooks, encoding="ascii")
    object_only = command.with_flags("-c")
    with pytest.raises(ToolError) as caught:
        link(object_only, stork, ("stork_stepping_selftest.cpp",), "x.o")
    assert "generate again with --ticks" in caught.value.output
    done = call("generate", STORK, "--self-test", WALK, "--ticks", "500", "-o", stork)
    assert done.returncode == 0, done.stderr
    link(object_only, stork, ("stork_stepping_selftest.cpp",), "x.o")
    assert len((stork / "stork_stepping_selftest.txt").read_text(encoding="ascii").splitlines()) == 2 + 500


def test_ticks_alone_are_misuse(tmp_path: Path) -> None:
    done = call("generate", STORK, "--ticks", "5", "-o", tmp_path / "out")
    assert done.returncode == 2
    assert "--ticks belongs to --self-test" in done.stderr


def test_the_hooks_are_the_users(stork: Path) -> None:
    hooks = stork / "stork_stepping_selftest_hooks.h"
    hooks.write_text("// mine\n", encoding="ascii")
    done = call("generate", STORK, "--self-test", WALK, "-o", stork)
    assert done.returncode == 0
    assert f"kept, it is yours: {hooks}" in done.stdout
    assert hooks.read_text(encoding="ascii") == "// mine\n"


def test_own_templates_have_no_self_test(tmp_path: Path) -> None:
    done = call("generate", STORK, "--self-test", WALK, "-o", tmp_path, "--templates", tmp_path)
    assert done.returncode == 2
    assert "--self-test" in done.stderr or "templates" in done.stderr


def test_a_bad_recording_is_told_and_nothing_is_written(tmp_path: Path) -> None:
    bad = tmp_path / "bad.csv"
    bad.write_text("time_s,left_leg_roll\n0.00,1\n0.01,x\n", encoding="ascii")
    done = call("generate", STORK, "--self-test", bad, "-o", tmp_path / "out")
    assert done.returncode == 2
    assert "bad.csv:3:6" in done.stderr
    assert not (tmp_path / "out").exists()
