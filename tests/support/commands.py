"""Running the real command line in a process of its own."""

import contextlib
import io
import os
import shutil
import subprocess
import sys
from pathlib import Path

from sequencer.cli.main import main

REPOSITORY = Path(__file__).resolve().parents[2]
COMMAND = [sys.executable, "-m", "sequencer"]
STORK = REPOSITORY / "examples" / "stork" / "stork.gait.yaml"


def run(
    *arguments: str | Path,
    cwd: Path | None = None,
    text_in: str | None = None,
    environment: dict[str, str] | None = None,
    timeout_s: float = 120,
) -> subprocess.CompletedProcess[str]:
    """Run `sequencer` with the arguments and return its exit code, output and errors, without colours."""
    return subprocess.run(
        [*COMMAND, *map(str, arguments)],
        cwd=cwd,
        input="" if text_in is None else text_in,
        env={**os.environ, **(environment or {})},
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=timeout_s,
        check=False,
    )


def copy_of_the_stork(folder: Path) -> Path:
    """Copy the stork's gait and machine files into a folder and return the gait file's path."""
    for path in (STORK, STORK.with_name("stork.machine.yaml")):
        shutil.copyfile(path, folder / path.name)
    return folder / STORK.name


def assert_one_clear_error(done: subprocess.CompletedProcess[str], *words: str) -> None:
    """Assert exit code 2, nothing on standard output, one error that says these words, and no traceback."""
    text = done.stderr
    assert done.returncode == 2, done.stdout + text
    assert done.stdout == ""
    assert "Traceback" not in text and "fault in sequencer itself" not in text, text
    assert text.count("error:") == 1, text
    for word in words:
        assert word in text, text


def call(*arguments: str | Path) -> subprocess.CompletedProcess[str]:
    """Run the same command in this process, which is much faster; for what needs no process of its own."""
    out, err = _Stream(), _Stream()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main([str(argument) for argument in arguments])
    return subprocess.CompletedProcess(list(arguments), code, out.text(), err.text())


class _Stream(io.TextIOWrapper):
    """A stream in memory that takes text and, below, bytes."""

    def __init__(self) -> None:
        super().__init__(io.BytesIO(), encoding="utf-8", write_through=True)

    def text(self) -> str:
        """Give all that was written."""
        self.flush()
        raw = self.buffer
        assert isinstance(raw, io.BytesIO)
        return raw.getvalue().decode()
