"""What a verb that makes a board's program says about uploading, and doing it."""

import shlex
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from sequencer.base.errors import MisuseError
from sequencer.cli.options import out, say
from sequencer.cli.progress import Progress

if TYPE_CHECKING:
    from sequencer.plan.boards import Board

BUILD = "build"  # a folder in the sketch's into which the boards' editor does not look


def ready_to_upload(board: str, port: str | None) -> None:
    """Look whether uploading can begin, if it was asked for. Raises MisuseError, ToolError."""
    if port is None:
        return
    from sequencer.build.upload import check_upload
    from sequencer.plan.boards import BOARDS

    if board not in BOARDS:
        hint = f"known are {', '.join(BOARDS)}; upload with the boards' editor"
        raise MisuseError(f"nobody here knows how to upload to board {board}", hint=hint)
    check_upload(port)


def program_path(folder: Path) -> Path:
    """Say where the file that is flashed lies, of a sketch in `folder`."""
    return folder / BUILD / f"{folder.resolve().name}.hex"


def check_place(folder: Path) -> None:
    """Raise MisuseError if something else lies where the file that is flashed would go."""
    path = program_path(folder)
    ours = not path.exists() or (path.is_file() and path.read_bytes()[:1] == b":")
    if path.parent.is_symlink() or not ours:
        raise MisuseError(f"{path} is in the way: it is no program", hint="move it away")


def keep_program(folder: Path, data: bytes) -> Path:
    """Put the file that is flashed into its place. Raises MisuseError if something else is in the way."""
    from sequencer.base.files import write_whole

    check_place(folder)
    path = program_path(folder)
    path.parent.mkdir(parents=True, exist_ok=True)
    write_whole(path, data)
    return path


def command_for(board: str, folder: Path, port: str | None) -> list[str]:
    """Give the command that uploads a sketch's program; empty for a board that nobody here knows."""
    from sequencer.build.upload import NO_PORT, upload_command
    from sequencer.plan.boards import BOARDS

    known = BOARDS.get(board)
    return upload_command(known, program_path(folder), port or NO_PORT) if known is not None else []


def offer(board: str, folder: Path, port: str | None, program: bytes | None, *, quiet: bool) -> None:
    """Keep a sketch's program, print the command that uploads it, and with a port run that.

    program: the file that is flashed, None if it was not built yet; without a port it is not built then.
    Raises ToolError with what the compiler or avrdude said, MisuseError.
    """
    from sequencer.plan.boards import BOARDS
    from sequencer.show.text import clean

    known = BOARDS.get(board)
    if known is None:
        return
    if program is None:  # what lies there was built from other files than those that were just written
        check_place(folder)
        program_path(folder).unlink(missing_ok=True)
    if program is None and port is not None:
        program = _built(known, folder, quiet=quiet)
    if program is not None:
        path = keep_program(folder, program)
        out("" if quiet else f"built: {path}")
    if not quiet:
        words = "to upload" if program is not None else "to upload, once it is built"
        out(f"{words}: {clean(shlex.join(command_for(board, folder, port)))}")
    if port is not None:
        from sequencer.build.upload import upload

        with Progress("uploading", quiet=quiet):
            upload(known, program_path(folder), port)
        say(f"uploaded to the {known.title} at {port}, and read back", quiet=quiet)


def _built(board: "Board", folder: Path, *, quiet: bool) -> bytes:
    from sequencer.build.arduino_core import build_sketch

    with Progress("building", quiet=quiet), tempfile.TemporaryDirectory(prefix="gait-sequencer-") as work:
        return build_sketch(board, folder, Path(work)).hex.read_bytes()
