"""Writing a file whole or not at all."""

import os
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from sequencer.base.errors import MisuseError


def write_whole(path: Path, data: bytes, *, replace: bool = True) -> None:
    """Write a file aside and put it in place, so that it is never half there.

    Without `replace` an existing file is a MisuseError. A device or a pipe, which can't be replaced, is
    written to. Raises OSError that names `path` if the folder is missing, full or not ours to write in.
    """
    write_all([(path, data)], replace=replace)


def write_all(files: Iterable[tuple[Path, bytes]], *, replace: bool = True) -> None:
    """Write several files: all aside first, then all into place, so that a full disk leaves all as they were.

    For each, what `write_whole` says holds.
    """
    with ExitStack() as stack:
        written: list[tuple[Path, Path]] = []
        for path, data in files:
            if not replace and path.exists():
                hint = "give another name, or move the file away first"
                raise MisuseError(f"{path} exists already", hint=hint)
            with _naming(path):
                if path.exists() and not path.is_file():
                    path.write_bytes(data)
                else:
                    written.append((path, _write_aside(path, data, stack)))
        for path, aside in written:
            with _naming(path):
                aside.replace(path)


@contextmanager
def _naming(path: Path) -> Iterator[None]:
    """Let errors name the file itself: the name aside means nothing to the user."""
    try:
        yield
    except OSError as error:
        error.filename, error.filename2 = str(path), None
        raise


def _write_aside(path: Path, data: bytes, stack: ExitStack) -> Path:
    """Write beside `path`; what is still there when the stack closes is removed."""
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
    aside = Path(name)
    stack.callback(aside.unlink, missing_ok=True)
    with os.fdopen(handle, "wb") as file:
        file.write(data)
    aside.chmod(_mode(path))  # mkstemp makes it private
    return aside


def _mode(path: Path) -> int:
    """Return the permissions of the file that is replaced, or those of a new one."""
    if path.exists():
        return path.stat().st_mode & 0o777
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask
