"""Building a sketch against a board's core: what comes out, what is kept, what is said if it fails."""

from pathlib import Path

import pytest

from sequencer.base.errors import ToolError
from sequencer.build import arduino_core
from sequencer.build.arduino_core import build_sketch, core_archive, find_core, missing_for_boards
from sequencer.plan.boards import BOARDS

BLINK = """#include <Arduino.h>
void setup() { pinMode(LED_BUILTIN, OUTPUT); }
void loop() { digitalWrite(LED_BUILTIN, HIGH); }
"""


def sketch(folder: Path, text: str = BLINK) -> Path:
    made = folder / "blink"
    made.mkdir()
    (made / "blink.ino").write_text(text, encoding="ascii")
    return made


def test_what_is_flashed_is_intel_hex_of_all_that_flash_takes(tmp_path: Path) -> None:
    """Records are colon, count, address, type, data, checksum (Intel, Hexadecimal Object File Format)."""
    built = build_sketch(BOARDS["uno"], sketch(tmp_path), tmp_path / "out")
    records = [bytes.fromhex(line[1:]) for line in built.hex.read_text(encoding="ascii").splitlines()]
    assert all(sum(record) % 256 == 0 for record in records)
    assert records[-1] == bytes.fromhex("00000001FF")
    assert sum(record[0] for record in records if record[3] == 0) == built.sizes.flash
    assert built.elf.read_bytes()[:4] == b"\x7fELF"


def test_the_core_is_built_once_for_each_board(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    first = core_archive(BOARDS["uno"], find_core())
    made = first.stat().st_mtime_ns
    assert core_archive(BOARDS["uno"], find_core()) == first
    assert first.stat().st_mtime_ns == made
    assert core_archive(BOARDS["leonardo"], find_core()) != first


def test_a_warning_in_our_own_files_is_an_error(tmp_path: Path) -> None:
    unused = "static int left_over = 0;\n"
    with pytest.raises(ToolError) as caught:
        build_sketch(BOARDS["uno"], sketch(tmp_path, BLINK + unused), tmp_path / "out")
    assert "left_over" in caught.value.output


def test_a_core_that_is_not_there_is_one_clear_error(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(arduino_core.CORE_VARIABLE, str(tmp_path))
    with pytest.raises(ToolError, match="there is no Arduino core in ") as caught:
        find_core()
    assert "apt install arduino-core-avr" in caught.value.hint
    assert missing_for_boards() == "arduino-core-avr"


def test_no_compiler_is_one_clear_error(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    made = sketch(tmp_path)
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(ToolError, match="no compiler for 8-bit controllers") as caught:
        build_sketch(BOARDS["uno"], made, tmp_path / "out")
    assert "gcc-avr" in caught.value.hint
    assert "gcc-avr" in missing_for_boards()


def test_an_empty_folder_is_one_clear_error(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    with pytest.raises(ToolError, match="there is nothing to compile in "):
        build_sketch(BOARDS["uno"], tmp_path / "empty", tmp_path / "out")
