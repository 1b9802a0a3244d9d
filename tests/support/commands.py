"""Running the real command line in a process of its own."""

import os
import subprocess
import sys
from pathlib import Path

REPOSITORY = Path(__file__).resolve().parents[2]
COMMAND = [sys.executable, "-m", "sequencer"]


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
