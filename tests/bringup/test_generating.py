"""`sequencer generate MACHINE --target bringup`: what is written, for which machines, and what is refused."""

from pathlib import Path

import pytest
from support.bringup_rig import RIG
from support.checkers import clang_tidy, cppcheck
from support.commands import REPOSITORY, STORK, assert_one_clear_error, call

from sequencer.build.arduino_core import build_sketch
from sequencer.build.programs import run_program
from sequencer.generate.bringup import bringup_files
from sequencer.plan.boards import BOARDS

STORK_MACHINE = STORK.with_name("stork.machine.yaml")
CRAB_MACHINE = REPOSITORY / "examples/crab/crab.machine.yaml"
SMALL = (
    RIG.replace("  lines: {tilt: {port: serial1, baud: 57600}}\n", "")
    .replace("{line: tilt}", "{analog: A2}")
    .replace("direction: 28", "direction: 7")
    .replace("servo: 31", "servo: 13")
    .replace("{pin: 26, button: 27}", "{pin: 8, button: 12}")
)
SERVO = "  setpoints: {tail: {servo: 13, pulse: [1000 us, 2000 us], over: [-40 deg, 40 deg]}}\n"
STRICT = (
    "-std=c++11 -Wall -Wextra -Wpedantic -Wconversion -Wsign-conversion -Wdouble-promotion -Wshadow "
    "-Wfloat-equal -Wold-style-cast -Wcast-qual -Wswitch-default -Werror -c"
).split()


def written(tmp_path: Path, machine: str) -> Path:
    path = tmp_path / "small.machine.yaml"
    path.write_text(machine)
    return path


def test_a_whole_sketch_is_written_and_called_as_its_folder(tmp_path: Path) -> None:
    done = call("generate", STORK_MACHINE, "--target", "bringup", "-o", tmp_path / "first_morning")
    assert done.returncode == 0, done.stderr
    assert "Hoist the machine, keep hands clear" in done.stderr
    assert sorted(path.name for path in (tmp_path / "first_morning").iterdir()) == [
        "build",
        "first_morning.ino",
        "joint_test.cpp",
        "joint_test.h",
        "stork_board_hooks.h",
        "stork_bringup.cpp",
        "stork_bringup.h",
        "stork_io.cpp",
        "stork_io.h",
    ]
    again = call("generate", STORK_MACHINE, "--target", "bringup", "-o", tmp_path / "first_morning")
    assert "kept, it is yours" in again.stdout


def test_the_same_machine_gives_the_same_bytes_and_every_file_its_caution() -> None:
    files = bringup_files(STORK_MACHINE, "morning")
    assert files == bringup_files(STORK_MACHINE, "morning")
    for name in ("morning.ino", "joint_test.h", "stork_bringup.h"):
        assert "CAUTION" in files[name]
    assert "NOT" in files["stork_io.h"]
    assert "Nothing in here is an emergency stop (IEC 60204-1, ISO 13850)" in files["stork_bringup.h"]


def test_the_signal_of_an_output_is_its_loops_or_its_stall_watchs(tmp_path: Path) -> None:
    assert "told by " in bringup_files(STORK_MACHINE, "m")["stork_bringup.cpp"]
    rows = _joint_rows(bringup_files(STORK_MACHINE, "m")["stork_bringup.cpp"])
    names = ["left_leg_roll", "right_leg_roll", "body_roll", "left_knee", "right_knee", "battery"]
    names += ["left_hip_pot", "right_hip_pot", "left_ankle_pot", "right_ankle_pot"]
    assert {name: names[int(row[1].rstrip("U"))] for name, row in rows.items()} == {
        "left_hip_motor": "left_hip_pot",
        "right_hip_motor": "right_hip_pot",
        "left_ankle_motor": "left_ankle_pot",
        "right_ankle_motor": "right_ankle_pot",
        "left_knee_motor": "left_knee",
        "right_knee_motor": "right_knee",
    }
    loop = RIG[RIG.index("loops:") : RIG.index("outputs:")]
    stall = "{slew: 4 /s, stall: {above: 0.5, signal: body_tilt, moves: 1 deg, for: 1 s}}"
    for machine, signal in (
        (RIG.replace(loop, "").replace("{slew: 4 /s}", stall), "1U"),
        (RIG.replace(loop, ""), "no_signal_of_it"),
    ):
        text = bringup_files(written(tmp_path, machine), "m")["rig_bringup.cpp"]
        assert _joint_rows(text)["neck_motor"][1] == signal


def test_a_loop_of_negative_gains_wants_less_of_the_signal(tmp_path: Path) -> None:
    for machine, expects in ((RIG, "1"), (RIG.replace("kp: 0.1", "kp: -0.1"), "-1")):
        text = bringup_files(written(tmp_path, machine), "m")["rig_bringup.cpp"]
        assert _joint_rows(text)["neck_motor"][10] == expects


def _joint_rows(text: str) -> dict[str, list[str]]:
    table = text[text.index("joint_rows[joint_count] PROGMEM") :]
    lines = table[: table.index("};")].splitlines()[1:]
    return {line.rpartition("// ")[2]: line.strip(" {").split("}")[0].split(", ") for line in lines}


@pytest.mark.parametrize(
    ("machine", "board"),
    [
        (STORK_MACHINE, "mega2560"),
        (CRAB_MACHINE, "mega2560"),
        (SMALL, "uno"),
        (SMALL.replace(SERVO, ""), "leonardo"),
    ],
    ids=["stork", "crab", "uno", "leonardo"],
)
def test_it_builds_for_boards_without_a_warning(machine: Path | str, board: str, tmp_path: Path) -> None:
    if isinstance(machine, str):
        machine = written(tmp_path, machine.replace("mega2560", board))
    sketch = tmp_path / "sketch"
    sketch.mkdir()
    for name, text in bringup_files(machine, "sketch").items():
        (sketch / name).write_text(text)
    sizes = build_sketch(BOARDS[board], sketch, tmp_path / "built").sizes
    assert sizes.flash <= BOARDS[board].flash
    assert sizes.ram <= 0.75 * BOARDS[board].ram  # the rest is for the stack


@pytest.mark.parametrize("compiler", ["g++", "clang++"])
def test_the_measuring_compiles_for_any_computer_under_strict_warnings(compiler: str, tmp_path: Path) -> None:
    files = bringup_files(CRAB_MACHINE, "m")
    for name in ("joint_test.h", "joint_test.cpp", "servo_test.h", "servo_test.cpp"):
        (tmp_path / name).write_text(files[name])
    run_program([compiler, *STRICT, "joint_test.cpp", "servo_test.cpp"], folder=tmp_path)


REFUSED = {
    "no wiring": (RIG[: RIG.index("wiring:")], "does not say what is connected where"),
    "no console": (RIG.replace("  console: {port: serial, baud: 115200}\n", ""), "has no console"),
    "an error in the file": (RIG.replace("span: [-40, 40]\n", "span: [-40]\n"), "span"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_a_machine_that_cannot_have_one_is_refused_with_one_clear_error(name: str, tmp_path: Path) -> None:
    machine, said = REFUSED[name]
    done = call("generate", written(tmp_path, machine), "--target", "bringup", "-o", tmp_path / "out")
    assert_one_clear_error(done, said)
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((STORK, "-o", "out"), "is a gait file, not a machine file"),
        ((STORK_MACHINE, "-o", "a b"), "a sketch cannot be called 'a b'"),
        ((STORK_MACHINE, "-o", "out", "--machine", CRAB_MACHINE), "takes a machine file alone"),
        ((STORK_MACHINE, "-o", "out", "--self-test", "x.csv"), "takes a machine file alone"),
        (("nowhere.yaml", "-o", "out"), "nowhere.yaml"),
    ],
)
def test_what_makes_no_sense_is_refused(
    arguments: tuple[str | Path, ...], said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    done = call("generate", *arguments, "--target", "bringup")
    assert_one_clear_error(done, said)
    assert list(tmp_path.iterdir()) == []


def test_static_checkers_find_nothing_in_it(tmp_path: Path) -> None:
    for name, text in bringup_files(written(tmp_path, RIG), "m").items():
        (tmp_path / name).write_text(text)
    measuring = ["joint_test.cpp", "servo_test.cpp"]
    assert cppcheck(tmp_path, [*measuring, "rig_bringup.cpp"]) == []
    assert clang_tidy(tmp_path, measuring) == []  # the rest needs a board's headers, which are not ours


def test_the_static_checkers_would_find_something(tmp_path: Path) -> None:
    files = bringup_files(written(tmp_path, RIG), "m")
    (tmp_path / "joint_test.h").write_text(files["joint_test.h"].replace("float duty_ = 0.0F", "float duty_"))
    planted = "uint8_t JointTest::depth() { return depth(); }\n\n}  // namespace"
    (tmp_path / "joint_test.cpp").write_text(
        files["joint_test.cpp"].replace("}  // namespace", planted)
        + "int never(int* p);\nint never(int* p) { int a[2] = {1, 2}; return p == nullptr ? *p : a[2]; }\n"
    )
    assert cppcheck(tmp_path, ["joint_test.cpp"]) != []
