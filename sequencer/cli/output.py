"""Writing what a verb made: whole or not at all."""

import os
import sys
import tempfile
from pathlib import Path

from sequencer.base.errors import MisuseError


def write_out(target: str, data: bytes, *, replace: bool = True) -> None:
    """Write to a file, or with ``-`` to standard output.

    A file is written aside and then put in place, so that it is never half there. Without `replace` an
    existing file is a MisuseError.
    """
    if target == "-":
        sys.stdout.flush()
        sys.stdout.buffer.write(data)
        return
    path = Path(target)
    if not replace and path.exists():
        raise MisuseError(f"{target} exists already", hint="give another name, or move the file away first")
    if path.exists() and not path.is_file():  # a device or a pipe can't be replaced, only written to
        path.write_bytes(data)
        return
    handle, aside = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        mask = os.umask(0)
        os.umask(mask)
        Path(aside).chmod(0o666 & ~mask)  # mkstemp makes it private
        Path(aside).replace(path)
    except BaseException:
        Path(aside).unlink(missing_ok=True)
        raise
