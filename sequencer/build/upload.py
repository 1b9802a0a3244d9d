"""Getting a program into a board: the command of avrdude, and calling it.

avrdude is what the boards' own editor calls, with the same arguments (``platform.txt`` of the core). Nothing
is erased beforehand and no fuse is touched: a boot loader writes page by page.
"""

import os
import re
import shutil
import time
from collections.abc import Callable
from glob import glob
from pathlib import Path

from sequencer.base.errors import MisuseError, ToolError
from sequencer.build.programs import run_program
from sequencer.plan.boards import Board

PROGRAM = "avrdude"
NO_PORT = "PORT"  # what stands in a command whose port nobody has named
LONGEST_S = 300.0
_USUAL_PORTS = ("/dev/ttyACM*", "/dev/ttyUSB*", "/dev/cu.usb*")
# what avrdude says when nobody answers, in its several protocols
_SILENT = ("not in sync", "not responding", "timeout communicating", "can't communicate", "butterfly_recv")


def upload_command(board: Board, program: Path, port: str = NO_PORT) -> list[str]:
    """Give the command that writes a program (Intel HEX) into a board over a serial port."""
    return [
        PROGRAM,
        f"-p{board.mcu}",
        f"-c{board.protocol}",
        f"-P{port}",
        f"-b{board.upload_baud}",
        "-D",
        f"-Uflash:w:{program}:i",
    ]


def ports_there() -> list[str]:
    """List the ports at which a board may be, by the usual names."""
    return sorted(path for pattern in _USUAL_PORTS for path in glob(pattern))  # noqa: PTH207 - names of devices


def check_upload(port: str) -> None:
    """Look whether uploading can begin. Raises ToolError without avrdude, MisuseError without the port."""
    if shutil.which(PROGRAM) is None:
        raise ToolError(
            f"there is no {PROGRAM} on this machine",
            hint=f"install it (Debian: apt install {PROGRAM}), or run the printed command where it is",
        )
    if port.startswith("/") and not os.path.exists(port):  # noqa: PTH110 - a name such as COM3 is no path
        there = ports_there()
        hint = f"there is {', '.join(there)}" if there else "plug the board in; no port of a board is there"
        raise MisuseError(f"there is no port {port}", hint=hint)


def upload(board: Board, program: Path, port: str, *, timeout_s: float = LONGEST_S) -> None:
    """Write a program into a board and let avrdude read it back.

    A board whose controller is its own USB port is first sent into its boot loader. Raises ToolError with
    what avrdude said, MisuseError if the port is not there.
    """
    check_upload(port)
    if board.native_usb:
        port = _into_boot_loader(port)
    # its argument parts at colons; run where the program lies, a colon in the path does no harm
    command = upload_command(board, Path(program.name), port)
    try:
        run_program(command, folder=program.parent, timeout_s=timeout_s)
    except ToolError as error:
        raise _plain(error, board, port) from error


def _plain(error: ToolError, board: Board, port: str) -> ToolError:
    """Say in plain words why avrdude gave up, with what it said below."""
    text = error.output.lower()
    if "permission denied" in text:
        hint = "be let in: sudo usermod -aG dialout $USER, then log in again"
        return ToolError(f"{port} may not be opened", hint=hint, output=_last(error))
    if "busy" in text:
        hint = "close the program that has it open, such as a console"
        return ToolError(f"{port} is in use", hint=hint, output=_last(error))
    if any(words in text for words in _SILENT) or "did not finish" in error.message:
        hint = (
            f"is it a {board.name}, at {port}? Close a console that has the port open, unplug what else "
            "is on its pins, press reset and try again"
        )
        return ToolError(f"the board at {port} does not answer", hint=hint, output=_last(error))
    return ToolError(f"{PROGRAM} could not write the program", output=_last(error))


def _last(error: ToolError) -> str:
    """Give the last lines of what was said, each once and without what only repeats."""
    lines = [re.sub(r"attempt \d+ of", "attempt of", line.strip()) for line in error.output.splitlines()]
    return "\n".join(list(dict.fromkeys(line for line in lines if line))[-8:])


def _into_boot_loader(port: str) -> str:
    """Touch the port, so that the board restarts as its boot loader; give that one's port."""
    before = set(ports_there())
    touch(port)
    return port_after(port, before, lambda: set(ports_there()))


def port_after(port: str, before: set[str], look: Callable[[], set[str]], timeout_s: float = 10.0) -> str:
    """Wait for a board that restarts, and give the port at which it is then: a new one, or the old one again.

    If nothing happens in that time it is the old one: it may have been in its boot loader before.
    """
    gone, end = False, time.monotonic() + timeout_s
    while time.monotonic() < end:
        now = look()
        new = sorted(now - before)
        if new:
            return new[0]
        gone = gone or port not in now
        if gone and port in now:
            return port
        time.sleep(0.1)
    return port


def touch(port: str) -> None:
    """Open a port at 1200 baud and close it. Raises ToolError if that fails."""
    try:
        import termios
    except ImportError as error:  # not a POSIX system
        raise ToolError(
            "this system cannot send the board into its boot loader", hint="upload with the boards' editor"
        ) from error
    try:
        handle = os.open(port, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        try:
            settings = termios.tcgetattr(handle)
            settings[2] |= termios.HUPCL  # the line that says "ready" drops when it is closed
            settings[4] = settings[5] = termios.B1200
            termios.tcsetattr(handle, termios.TCSANOW, settings)
        finally:
            os.close(handle)
    except (OSError, termios.error) as error:
        raise ToolError(f"{port} cannot be opened: {error.args[-1]}") from error
