"""Opening a file that may hold a recording: regular files only, and no kind that we can't read."""

import io
import os
import stat
import sys
import tempfile
from pathlib import Path
from types import TracebackType
from typing import IO, TYPE_CHECKING, Self

from sequencer.base.errors import TraceError
from sequencer.base.places import Place
from sequencer.trace.layout import nearest
from sequencer.trace.telemetry_lines import looks_like_telemetry

if TYPE_CHECKING:
    from typing_extensions import Buffer

STANDARD_INPUT = "<stdin>"
PARQUET = b"PAR1"  # what such a file begins with
_LOOKED_AT = 1 << 16  # bytes at the start that tell a telemetry log from a table
_COPIED = 1 << 20  # bytes at once
_UTF16 = (b"\xff\xfe", b"\xfe\xff")
_WRONG_KIND = (
    (b"\x1f\x8b", "this file is compressed with gzip", "unpack it: gunzip -c FILE | ... -"),
    (b"PK\x03\x04", "this is a spreadsheet or a zip archive", "save the table as CSV UTF-8, or unpack it"),
    (b"\x28\xb5\x2f\xfd", "this file is compressed with zstd", "unpack it: zstd -dc FILE | ... -"),
)


class Reader:
    """Something that reads a file: `with` closes it at its end."""

    def close(self) -> None:
        """Close the file."""
        raise NotImplementedError

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def open_file(path: Path) -> IO[bytes]:
    """Open a regular file; TraceError if it can't be."""
    try:
        return _open_regular(path)
    except OSError as error:
        raise TraceError(
            f"the recording cannot be opened: {error.strerror or error}",
            Place(str(path), 1, 1),
            expected="a CSV or Parquet file or a telemetry log that can be read",
            hint=_other_file(path),
        ) from error


def _other_file(path: Path) -> str:
    """Say what was meant by a path that cannot be opened."""
    try:
        if path.exists():
            return "give a recording's file name; for a pipe or a device, use - and send it to standard input"
        names = [entry.name for entry in path.parent.iterdir()]
    except OSError:
        return ""
    return nearest(path.name, names)


def _open_regular(path: Path) -> IO[bytes]:
    """Open a regular file; OSError for anything else, without waiting for the other end of a pipe."""
    descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))
    mode = os.fstat(descriptor).st_mode
    if not stat.S_ISREG(mode):
        os.close(descriptor)
        raise OSError(0, "it is a directory" if stat.S_ISDIR(mode) else "it is not a regular file")
    return os.fdopen(descriptor, "rb")


def buffered(stream: IO[bytes], name: str) -> tuple[IO[bytes], bytes]:
    """Give a buffered stream and its first bytes; TraceError if it is empty or of a wrong kind."""
    peeking = stream if isinstance(stream, io.BufferedReader) else io.BufferedReader(stream)  # type: ignore[type-var]
    start = peeking.peek(4)[:4]
    if not start:
        raise TraceError(
            "the file is empty", Place(name, 1, 1), expected="a first line of column names, then rows"
        )
    for magic, said, hint in _WRONG_KIND:
        if start.startswith(magic):
            raise TraceError(said, Place(name, 1, 1), expected="CSV text or Parquet", hint=hint)
    if start.startswith(_UTF16):
        raise TraceError(
            "this file is in UTF-16", Place(name, 1, 1), expected="UTF-8", hint="save it as CSV UTF-8"
        )
    return peeking, start


class _Again(io.RawIOBase):
    """A stream of which the first part was read already, from its beginning."""

    def __init__(self, first: bytes, rest: IO[bytes]) -> None:
        self._first, self._rest = io.BytesIO(first), rest

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: "Buffer") -> int:
        view = memoryview(buffer).cast("B")
        data = self._first.read(len(view)) or self._rest.read(len(view))
        view[: len(data)] = data
        return len(data)

    def close(self) -> None:
        if self._rest is not sys.stdin.buffer:
            self._rest.close()
        super().close()


def told_apart(stream: IO[bytes]) -> tuple[IO[bytes], bool]:
    """Tell whether it is a telemetry log; give a stream that begins at the beginning.

    A log is gone through twice, so one from standard input is put aside in a temporary file.
    """
    start = stream.read(_LOOKED_AT)
    telemetry = looks_like_telemetry(start)
    if stream.seekable():
        stream.seek(-len(start), os.SEEK_CUR)
        return stream, telemetry
    again = io.BufferedReader(_Again(start, stream))
    return (put_aside(again) if telemetry else again), telemetry


def put_aside(stream: IO[bytes]) -> IO[bytes]:
    """Copy a stream that can be read only once to a temporary file, and give that at its beginning."""
    aside = tempfile.TemporaryFile()  # noqa: SIM115 - open until the reader is closed
    while data := stream.read(_COPIED):
        aside.write(data)
    aside.seek(0)
    return aside
