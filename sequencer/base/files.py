"""Writing a file whole or not at all."""

import os
import tempfile
from collections.abc import Iterable
from pathlib import Path

from sequencer.base.errors import MisuseError


def write_whole(path: Path, data: bytes, *, replace: bool = True) -> None:
    """Write a file aside and put it in place, so that it is never half there.

    Without `replace` an existing file is a MisuseError. A device or a pipe, which can't be replaced, is
    written to. Raises OSError that names `path` if the folder is missing, full or not ours to write in.
    """
    if not replace and path.exists():
        raise MisuseError(f"{path} exists already", hint="give another name, or move the file away first")
    try:
        if path.exists() and not path.is_file():
            path.write_bytes(data)
        else:
            _write_aside(path, data)
    except OSError as error:
        error.filename, error.filename2 = str(path), None  # the name aside means nothing to the user
        raise


def write_all(files: Iterable[tuple[Path, bytes]], *, replace: bool = True) -> None:
    """Write several files; if one of them can't be written, those that were new are taken back."""
    new: list[Path] = []
    try:
        for path, data in files:
            fresh = not path.exists()
            write_whole(path, data, replace=replace)
            if fresh:
                new.append(path)
    except BaseException:
        for path in new:
            path.unlink(missing_ok=True)
        raise


def _write_aside(path: Path, data: bytes) -> None:
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
