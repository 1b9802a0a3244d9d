"""Running the real command line in a process of its own."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

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
