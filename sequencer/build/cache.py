"""Where built libraries are kept, by the hash of everything that went into them.

What lies there is loaded as native code, so the folder must be ours alone: made with mode 0700, owned by us,
not a link, not writable by others. Anything else is an error, except a place in which nothing can be written:
then a temporary folder serves for the life of this process.
"""

import hashlib
import os
import shutil
import stat
import tempfile
from collections.abc import Callable, Iterable
from functools import lru_cache
from pathlib import Path

from sequencer.base.errors import MisuseError, ToolError

_NAME = "gait-sequencer"


def content_key(parts: Iterable[str]) -> str:
    """Hash texts, keeping their borders apart."""
    digest = hashlib.sha256()
    for part in parts:
        data = part.encode()
        digest.update(len(data).to_bytes(8, "big"))
        digest.update(data)
    return digest.hexdigest()[:32]


def cached(key: str, build: Callable[[Path], Path]) -> Path:
    """Return the library with this key, building it if it is not there yet.

    `build` gets an empty folder, works in it and returns the file that it made, which is then moved into its
    place in one step: another process sees all of it or nothing. Raises MisuseError if the cache is not safe
    to load code from, and what `build` raises.
    """
    folder = cache_folder()
    library = folder / f"{key}.so"
    if library.exists():
        _check_ours(library)
        return library
    work = Path(tempfile.mkdtemp(prefix="build-", dir=folder))
    try:
        made = build(work)
        made.chmod(0o700)
        made.replace(library)
    finally:
        shutil.rmtree(work, ignore_errors=True)
    return library


def cache_folder() -> Path:
    """Give the folder of built libraries, made if need be: $XDG_CACHE_HOME or ~/.cache, then gait-sequencer.

    Raises MisuseError if it is not ours, or others may write in it.
    """
    base = os.environ.get("XDG_CACHE_HOME", "")
    root = Path(base) if base.startswith("/") else Path("~/.cache").expanduser()
    folder = root / _NAME
    try:
        root.mkdir(parents=True, exist_ok=True)
        folder.mkdir(mode=0o700, exist_ok=True)
    except FileExistsError as error:
        raise MisuseError(f"{folder} is in the way: it should be a folder", hint="move it away") from error
    except (OSError, RuntimeError):
        return _temporary()
    _check_ours(folder)
    return folder if os.access(folder, os.W_OK | os.X_OK) else _temporary()


def _check_ours(path: Path) -> None:
    """Refuse what somebody else could have put there, or could change."""
    status = path.lstat()
    hint = "remove it, or set XDG_CACHE_HOME to a folder of your own"
    if stat.S_ISLNK(status.st_mode):
        raise MisuseError(f"{path} is a link; code from it is not run", hint=hint)
    if status.st_uid != os.getuid():
        raise MisuseError(f"{path} belongs to somebody else; code from it is not run", hint=hint)
    if status.st_mode & (stat.S_IWGRP | stat.S_IWOTH):
        raise MisuseError(f"others may write to {path}; code from it is not run", hint=hint)


@lru_cache(maxsize=1)
def _temporary() -> Path:
    import atexit

    try:
        folder = Path(tempfile.mkdtemp(prefix=f"{_NAME}-"))
    except OSError as error:
        raise ToolError(
            f"there is no place to build in: {error.strerror}", hint="set XDG_CACHE_HOME or TMPDIR"
        ) from error
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder
