"""Emulators of controllers: which there are, what package brings them, and running a program on one.

The 8-bit ones run in a small host of ours that is linked to the library simavr; it is built once with the C
compiler of this machine. The 32-bit ones run in QEMU, whose instruction count repeats exactly.
"""

import os
import shutil
from pathlib import Path

from sequencer.base.errors import ToolError
from sequencer.build.programs import run_program

INPUT, OUTPUT = "in.bin", "out.bin"
QEMU = "qemu-system-arm"
# 256 ns of the emulated clock for each instruction; the boards' SysTick counts at 25 MHz: 6.4 counts each
COUNTS_PER_INSTRUCTION = 6.4
_ICOUNT = "shift=8,align=off,sleep=off"
_HEADERS = (("simavr/sim_avr.h", "libsimavr-dev"), ("libelf.h", "libelf-dev"))


def missing_for_avr() -> str:
    """Name the Debian packages that the emulation of 8-bit controllers lacks; empty if it is complete."""
    compiler = _c_compiler()
    if compiler is None:
        return "gcc libsimavr-dev libelf-dev"
    lacking = [package for header, package in _HEADERS if not _has_header(compiler, header)]
    return " ".join(lacking)


def missing_for_cortex() -> str:
    """Name the Debian package that the emulation of 32-bit controllers lacks; empty if it is there."""
    return "" if shutil.which(QEMU) else QEMU


def _c_compiler() -> str | None:
    for name in (os.environ.get("CC", ""), "gcc", "cc", "clang"):
        path = shutil.which(name) if name else None
        if path:
            return path
    return None


def _has_header(compiler: str, header: str) -> bool:
    try:
        run_program([compiler, "-E", "-include", header, "-x", "c", os.devnull])
    except ToolError:
        return False
    return True


def avr_emulator_command(source: Path, output: Path) -> list[str | Path]:
    """Give the command that builds the host for 8-bit controllers."""
    return [_c_compiler() or "gcc", "-O2", "-o", output, source, "-lsimavr", "-lelf"]


def build_avr_emulator(source: Path, output: Path) -> Path:
    """Build the host for 8-bit controllers from its source. Raises ToolError with the compiler's output."""
    run_program(avr_emulator_command(source, output))
    return output


def run_on_avr(emulator: Path, controller: str, program: Path, timeout_s: float) -> None:
    """Run a program, fed from ``in.bin`` in its folder; its output goes to ``out.bin`` there.

    Raises ToolError if it crashes, reads past its input or takes too long.
    """
    run_program(
        [emulator, controller, program.name, INPUT, OUTPUT], folder=program.parent, timeout_s=timeout_s
    )


def run_on_cortex(board: str, program: Path, timeout_s: float) -> None:
    """Run a program on a board of QEMU's, fed and heard as `run_on_avr` does it, through semihosting."""
    command: list[str | Path] = [QEMU, "-M", board, "-display", "none", "-monitor", "none", "-serial", "none"]
    command += ["-chardev", "stdio,id=sh", "-semihosting-config", "enable=on,target=native,chardev=sh"]
    command += ["-icount", _ICOUNT, "-kernel", program.name]
    run_program(command, folder=program.parent, timeout_s=timeout_s)
