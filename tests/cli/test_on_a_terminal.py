"""What differs when a person sits before it: colours, questions, a bar for long work."""

import os
import pty
import select
import signal
import subprocess
import time
from pathlib import Path

import pytest
from support.commands import COMMAND, STORK


class Terminal:
    """The command on a pseudo-terminal."""

    def __init__(self, *arguments: str, **environment: str) -> None:
        self._ours, theirs = pty.openpty()
        self.process = subprocess.Popen(
            [*COMMAND, *arguments],
            stdin=theirs,
            stdout=theirs,
            stderr=theirs,
            env={**os.environ, "TERM": "xterm-256color", **environment},
        )
        os.close(theirs)
        self.shown = b""

    def read_until(self, text: bytes = b"", seconds: float = 60) -> bool:
        """Read until a text was shown (or, without one, to the end); say whether it was."""
        deadline = time.monotonic() + seconds
        while time.monotonic() < deadline:
            if text and text in self.shown:
                return True
            if select.select([self._ours], [], [], 0.1)[0]:
                try:
                    piece = os.read(self._ours, 4096)
                except OSError:  # Linux says so when the other side is closed
                    piece = b""
                if not piece:
                    break
                self.shown += piece
        return bool(text) and text in self.shown

    def close(self) -> int:
        """Wait for the end and return the exit code."""
        code = self.process.wait(timeout=60)
        os.close(self._ours)
        return code


@pytest.fixture
def unsound(tmp_path: Path) -> Path:
    path = tmp_path / "bad.gait.yaml"
    path.write_text("gait: 3\nmachine: {}\n")
    return path


def test_findings_are_coloured(unsound: Path) -> None:
    terminal = Terminal("check", str(unsound))
    terminal.read_until()
    assert terminal.close() == 2
    assert b"\x1b[31;1merror:\x1b[0m" in terminal.shown


# no-color.org
def test_no_color_is_respected(unsound: Path) -> None:
    terminal = Terminal("check", str(unsound), NO_COLOR="1")
    terminal.read_until()
    assert terminal.close() == 2
    assert b"error:" in terminal.shown
    assert b"\x1b" not in terminal.shown


def test_long_work_shows_a_bar_that_goes_away_again(tmp_path: Path) -> None:
    terminal = Terminal("dry-run", str(STORK), "--for", "20h", "--out", str(tmp_path / "run.csv"))
    assert terminal.read_until(b"dry-run", seconds=60)
    terminal.process.send_signal(signal.SIGINT)
    terminal.read_until()
    assert terminal.close() == 130
    assert terminal.shown.rstrip().endswith(b"error:\x1b[0m interrupted; no file was left half written")
    assert b"\x1b[?25h" in terminal.shown  # the cursor that the bar hid is shown again
    assert b"Traceback" not in terminal.shown


def test_short_work_shows_none() -> None:
    terminal = Terminal("explain", "dead-end")
    terminal.read_until()
    assert terminal.close() == 0
    assert b"\x1b[?25l" not in terminal.shown


def test_a_table_is_cut_to_the_terminals_width() -> None:
    terminal = Terminal("dry-run", str(STORK), "--for", "5s", COLUMNS="60")
    terminal.read_until()
    assert terminal.close() == 0
    lines = terminal.shown.decode().replace("\r\n", "\n").splitlines()
    rows = [line for line in lines if line.startswith(("0.", "1.", "2.", "3.", "4."))]
    assert len(rows) >= 4
    assert all(len(row) <= 60 for row in rows)
    assert any(row.endswith("…") for row in rows)
