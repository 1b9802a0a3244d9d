"""Uploading: the command of avrdude, and real uploads into emulated boards with their own boot loaders."""

import os
import re
import termios
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.boot_loaders import BOOT_LOADERS, CORE, build, plugged_in, read_hex
from support.commands import call
from support.gaits import gait
from support.wired import wired

from sequencer.base.errors import MisuseError, ToolError
from sequencer.build.upload import check_upload, port_after, touch, upload, upload_command
from sequencer.plan.boards import BOARDS, Board

SMALL = """\
machine: trial
tick: 10 ms
signals:
  knee: {unit: mm, span: [0, 60], every: 20 ms, scale: {counts: [100, 900], reads: [0, 60]}}
outputs:
  knee_motor: {slew: 4 /s}
wiring:
  board: nano_old
  console: {baud: 115200}
  signals: {knee: {analog: A0}}
  outputs: {knee_motor: {pwm: 5, direction: 7}}
  enable: {pin: 8}
"""


@pytest.fixture(scope="session")
def emulator(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build(tmp_path_factory.mktemp("boot_loader"))


@pytest.fixture
def nobody() -> Iterator[str]:
    """Give a port at which nobody answers."""
    ours, theirs = os.openpty()
    yield os.ttyname(theirs)
    os.close(ours)
    os.close(theirs)


@pytest.mark.parametrize("board", BOARDS.values(), ids=lambda board: board.name)
def test_avrdude_is_called_as_the_boards_own_editor_calls_it(board: Board) -> None:
    # platform.txt of Debian's arduino-core-avr (LGPL)
    text = (CORE / "platform.txt").read_text(encoding="utf-8")
    match = re.search(r"^tools\.avrdude\.upload\.pattern=(.*)$", text, re.M)
    assert match is not None
    filled = match[1]
    for key, value in {
        "cmd.path": "avrdude",
        "config.path": "CONFIG",
        "upload.verbose": "",
        "upload.verify": "",
        "build.mcu": board.mcu,
        "upload.protocol": board.protocol,
        "serial.port": "/dev/ttyACM0",
        "upload.speed": str(board.upload_baud),
        "build.path": "build",
        "build.project_name": "walk",
    }.items():
        filled = filled.replace(f"{{{key}}}", value)
    theirs = [
        part.strip('"') for part in filled.split() if part != '"-CCONFIG"'
    ]  # its own place for its list
    assert upload_command(board, Path("build/walk.hex"), "/dev/ttyACM0") == theirs


def test_a_whole_program_is_generated_built_and_uploaded(emulator: Path, tmp_path: Path) -> None:
    """The Mega's own boot loader takes it from the real avrdude, and every byte lies in its flash."""
    path = tmp_path / "trial.gait.yaml"
    path.write_text(wired())
    with plugged_in(emulator, "mega2560", tmp_path) as (port, after):
        arguments = ["--target", "board", "--no-measure", "--upload", port]
        done = call("generate", path, "-o", tmp_path / "walk", *arguments)
    assert done.returncode == 0, done.stdout + done.stderr
    program = tmp_path / "walk" / "build" / "walk.hex"
    assert f"-P{port}" in done.stdout
    assert "uploaded to the Mega 2560" in done.stderr
    flash, wanted = after.read_bytes(), read_hex(program)
    assert len(wanted) > 5000
    assert {at: flash[at] for at in wanted} == wanted


def test_the_older_protocol_is_spoken_as_well(emulator: Path, tmp_path: Path) -> None:
    program = tmp_path / "few.hex"
    program.write_text(":040000000C9434C068\n:00000001FF\n")
    with plugged_in(emulator, "nano_old", tmp_path) as (port, after):
        upload(BOARDS["nano_old"], program, port)
    assert after.read_bytes()[:4] == bytes.fromhex("0c9434c0")


def test_the_boot_loaders_stay_as_they_were(emulator: Path, tmp_path: Path) -> None:
    program = tmp_path / "few.hex"
    program.write_text(":040000000C9434C068\n:00000001FF\n")
    with plugged_in(emulator, "nano_old", tmp_path) as (port, after):
        upload(BOARDS["nano_old"], program, port)
    loader, flash = read_hex(BOOT_LOADERS["nano_old"][1]), after.read_bytes()
    assert {at: flash[at] for at in loader} == loader


def test_a_board_that_does_not_answer_is_one_clear_error(nobody: str, tmp_path: Path) -> None:
    path = tmp_path / "trial.gait.yaml"
    path.write_text(wired())
    arguments = ["--target", "board", "--no-measure", "--upload", nobody]
    done = call("generate", path, "-o", tmp_path / "walk", *arguments)
    assert done.returncode == 2
    assert done.stderr.count("error: the board at") == 1
    assert f"the board at {nobody} does not answer" in done.stderr
    assert "is it a mega2560" in done.stderr
    assert "Traceback" not in done.stderr
    assert (tmp_path / "walk" / "build" / "walk.hex").exists()


def test_a_port_that_is_not_there_is_told_before_anything_is_written(tmp_path: Path) -> None:
    path = tmp_path / "trial.gait.yaml"
    path.write_text(wired())
    done = call("generate", path, "-o", tmp_path / "walk", "--target", "board", "--upload", "/dev/ttyACM99")
    assert (done.returncode, done.stdout) == (2, "")
    assert "there is no port /dev/ttyACM99" in done.stderr
    assert not (tmp_path / "walk").exists()


def test_without_avrdude_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(ToolError) as caught:
        check_upload("/dev/null")
    assert "avrdude" in caught.value.message
    assert "apt install avrdude" in caught.value.hint


@pytest.mark.parametrize(
    ("text", "target", "word"),
    [
        (gait(), "portable", "--target board"),
        (wired(("board: mega2560", "board: my_board")), "board", "my_board"),
    ],
)
def test_what_cannot_be_uploaded_is_refused(tmp_path: Path, text: str, target: str, word: str) -> None:
    path = tmp_path / "trial.gait.yaml"
    path.write_text(text)
    done = call("generate", path, "-o", tmp_path / "walk", "--target", target, "--upload", "/dev/null")
    assert (done.returncode, done.stdout) == (2, "")
    assert word in done.stderr
    assert not (tmp_path / "walk").exists()


def test_a_file_of_another_kind_in_the_place_of_the_program_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "trial.gait.yaml"
    path.write_text(wired())
    mine = tmp_path / "walk" / "build" / "walk.hex"
    mine.parent.mkdir(parents=True)
    mine.write_text("my notes")
    done = call("generate", path, "-o", tmp_path / "walk", "--target", "board")
    assert done.returncode == 2
    assert "is in the way" in done.stderr
    assert mine.read_text() == "my notes"
    assert [path.name for path in (tmp_path / "walk").iterdir()] == ["build"]


def test_the_command_is_printed_with_what_was_built(tmp_path: Path) -> None:
    path = tmp_path / "trial.gait.yaml"
    path.write_text(wired())
    folder = tmp_path / "my walk"
    folder.mkdir()
    done = call("generate", path, "-o", folder / "walk", "--target", "board")
    line = next(line for line in done.stdout.splitlines() if line.startswith("to upload: "))
    assert "-PPORT" in line
    assert f"'-Uflash:w:{folder}/walk/build/walk.hex:i'" in line  # quoted for a shell
    assert (folder / "walk" / "build" / "walk.hex").exists()


def test_a_board_on_its_own_usb_port_is_touched_at_1200_baud(nobody: str) -> None:
    handle = os.open(nobody, os.O_RDWR | os.O_NOCTTY)
    try:
        touch(nobody)
        assert termios.tcgetattr(handle)[4:6] == [termios.B1200, termios.B1200]
    finally:
        os.close(handle)


def test_a_port_that_cannot_be_touched_is_told() -> None:
    with pytest.raises(ToolError, match="cannot be opened"):
        touch("/dev/ttyACM99")


@pytest.mark.parametrize(
    ("seen", "expected"),
    [
        ([{"a"}, set(), {"b"}], "b"),  # it comes back under another name
        ([{"a"}, set(), set(), {"a"}], "a"),  # or under the same one
        ([{"a"}, {"a", "b"}], "b"),  # or both are there
    ],
)
def test_a_restarted_board_is_found_again(seen: list[set[str]], expected: str) -> None:
    looks = iter([*seen, *[seen[-1]] * 50])
    assert port_after("a", {"a"}, lambda: next(looks), timeout_s=3) == expected


def test_a_board_that_stays_where_it_was_is_taken_for_ready() -> None:
    assert port_after("a", {"a"}, lambda: {"a"}, timeout_s=0.3) == "a"


def test_a_path_that_is_no_port_is_avrdude_s_to_judge(tmp_path: Path) -> None:
    program = tmp_path / "few.hex"
    program.write_text(":00000001FF\n")
    with pytest.raises(ToolError) as caught:
        upload(BOARDS["uno"], program, "/dev/null", timeout_s=100)
    assert caught.value.message
    with pytest.raises(MisuseError):
        upload(BOARDS["uno"], program, str(tmp_path / "nothing"))


def test_the_program_of_the_first_morning_is_built_measured_and_uploaded(
    emulator: Path, tmp_path: Path
) -> None:
    machine = tmp_path / "small.machine.yaml"
    machine.write_text(SMALL)
    with plugged_in(emulator, "nano_old", tmp_path) as (port, after):
        arguments = ["--target", "bringup", "--upload", port]
        done = call("generate", machine, "-o", tmp_path / "morning", *arguments)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "on the Nano with the old boot loader (ATmega328P), the whole program:" in done.stdout
    flash, wanted = after.read_bytes(), read_hex(tmp_path / "morning" / "build" / "morning.hex")
    assert {at: flash[at] for at in wanted} == wanted
