"""Running another program: without a shell, with a time limit, its output in the error."""

import os
import subprocess
from collections.abc import Sequence
from pathlib import Path

from sequencer.base.errors import ToolError

_MOST_OUTPUT = 20_000


def run_program(
    command: Sequence[str | Path], *, folder: Path | None = None, timeout_s: float = 120.0
) -> str:
    """Run a program in a folder and return what it printed to standard output.

    Its messages are not translated. Raises ToolError, with all that it printed, if it cannot be started,
    fails, or takes longer than the timeout.
    """
    name = Path(command[0]).name
    try:
        done = subprocess.run(  # noqa: S603 - no shell; the program is one that we found ourselves
            [str(part) for part in command],
            cwd=folder,
            env={**os.environ, "LC_ALL": "C"},
            stdin=subprocess.DEVNULL,
            capture_output=True,
            timeout=timeout_s,
            check=False,
            text=True,
            encoding="utf-8",
            errors="replace",
        )
    except subprocess.TimeoutExpired as error:
        raise ToolError(f"{name} did not finish within {timeout_s:g} s") from error
    except OSError as error:
        raise ToolError(f"{name} could not be started: {error.strerror}") from error
    if done.returncode != 0:
        output = (done.stdout + done.stderr)[-_MOST_OUTPUT:]
        raise ToolError(f"{name} failed with exit code {done.returncode}", output=output)
    return done.stdout
