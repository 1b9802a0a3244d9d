"""Building a program for a board against its Arduino core: the folder of a sketch in, a flashable file out.

The core is found where Debian's package arduino-core-avr puts it, or where the environment variable
ARDUINO_CORE says: a folder with ``cores/arduino`` and ``variants``. It is compiled once for each board and
kept in the private cache; a sketch's own files are compiled with strict warnings as errors, the core's with
none, for they are not ours to mend.
"""

import os
import shutil
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from sequencer.base.errors import ToolError
from sequencer.build.cache import cached, content_key
from sequencer.build.compilers import COMMON_FLAGS
from sequencer.build.programs import run_program
from sequencer.build.sizes import Sizes, sizes_of
from sequencer.plan.boards import Board

CORE_VARIABLE = "ARDUINO_CORE"
PACKAGES = "gcc-avr avr-libc binutils-avr arduino-core-avr"
_USUAL_CORE = Path("/usr/share/arduino/hardware/arduino/avr")
_VERSION = 10819  # what ARDUINO says to libraries: that of the last editor with this numbering

# as the boards' own editors call the compiler, plus no contraction
_SMALL = ("-Os", *COMMON_FLAGS, "-fno-threadsafe-statics", "-ffunction-sections", "-fdata-sections")
_CXX: Final = ("-std=gnu++11", *_SMALL)
_C: Final = ("-std=gnu11", "-Os", "-ffunction-sections", "-fdata-sections")
# WString.cpp asks for a constant that avr-libc 2.0 no longer defines
_CORE_FLAGS: Final = ("-w", "-DDECIMAL_DIG=__DECIMAL_DIG__")
# Not among them: old-style-cast and redundant-decls. The core's headers have plenty of both, and they cannot
# be named as the system's, for on this family of controllers all that is in those is taken for C.
WARNINGS: Final = tuple(
    (
        "-Werror -Wall -Wextra -Wpedantic -Wshadow -Wconversion -Wsign-conversion -Wdouble-promotion -Wundef "
        "-Wcast-qual -Wcast-align -Wfloat-equal -Wswitch-default -Wmissing-declarations -Wunused "
        "-Wunused-macros -Wuninitialized -Wformat=2"
    ).split()
)
_BOARD_MACROS: Final = {
    "uno": "AVR_UNO",
    "nano": "AVR_NANO",
    "nano_old": "AVR_NANO",
    "mega2560": "AVR_MEGA2560",
    "leonardo": "AVR_LEONARDO",
    "micro": "AVR_MICRO",
}
_USB: Final = {"leonardo": "0x8036", "micro": "0x8037"}


@dataclass(frozen=True, slots=True)
class Built:
    """A program for a board: the linked file, the file that is flashed, and what it takes."""

    elf: Path
    hex: Path
    sizes: Sizes


def missing_for_boards() -> str:
    """Name the Debian packages that building for a board lacks; empty if all is there."""
    if shutil.which("avr-g++") is None or shutil.which("avr-objcopy") is None:
        return PACKAGES
    try:
        find_core()
    except ToolError:
        return "arduino-core-avr"
    return ""


def find_core() -> Path:
    """Find the core: what ARDUINO_CORE says, else where Debian puts it. Raises ToolError if there is none."""
    said = os.environ.get(CORE_VARIABLE, "").strip()
    core = Path(said) if said else _USUAL_CORE
    if not (core / "cores" / "arduino" / "Arduino.h").is_file():
        raise ToolError(
            f"there is no Arduino core in {core}",
            hint=f"install it (Debian: apt install arduino-core-avr), or say where it is in {CORE_VARIABLE}",
        )
    return core


def build_sketch(
    board: Board, sketch: Path, output: Path, *, flags: Sequence[str] = (), timeout_s: float = 300
) -> Built:
    """Compile all of a sketch's folder for a board and link it with the core; the results go to `output`.

    sketch: a folder; its ``.ino``, ``.cpp`` and ``.c`` files are compiled. flags: more of them for these
    files, such as ``-DNAME=1``. Raises ToolError with what the compiler said, or naming what is missing.
    """
    core = find_core()
    if shutil.which("avr-g++") is None:
        raise ToolError("there is no compiler for 8-bit controllers", hint=f"Debian: apt install {PACKAGES}")
    output.mkdir(parents=True, exist_ok=True)
    objects = [
        _own_object(board, core, path, output, (*WARNINGS, *flags), timeout_s)
        for path in sorted(sketch.iterdir())
        if path.suffix in {".ino", ".cpp", ".c"}
    ]
    if not objects:
        raise ToolError(f"there is nothing to compile in {sketch}")
    elf, flashed = output / "program.elf", output / "program.hex"
    link: list[str | Path] = [
        "avr-g++",
        *_CXX,
        f"-mmcu={board.mcu}",
        "-Wl,--gc-sections",
        "-o",
        elf,
        *objects,
    ]
    run_program([*link, core_archive(board, core), "-lm"], timeout_s=timeout_s)
    run_program(["avr-objcopy", "-O", "ihex", "-R", ".eeprom", elf, flashed], timeout_s=timeout_s)
    return Built(elf, flashed, sizes_of("avr-size", elf))


def core_archive(board: Board, core: Path) -> Path:
    """Give the compiled core of a board, built if it is not kept already. Raises ToolError if that fails."""
    sources = sorted(
        path for path in (core / "cores" / "arduino").iterdir() if path.suffix in {".c", ".cpp", ".S"}
    )
    headers = sorted(path for folder in _folders(board, core) for path in folder.rglob("*.h"))
    version = run_program(["avr-g++", "--version"]).partition("\n")[0]
    texts = [
        f"{path.name}\n{path.read_text(encoding='utf-8', errors='replace')}" for path in sources + headers
    ]
    key = content_key(["core", version, *_flags(board), *_CORE_FLAGS, *_CXX, *_C, *texts])
    return cached(key, lambda folder: _build_core(board, core, sources, folder))


def _build_core(board: Board, core: Path, sources: Sequence[Path], folder: Path) -> Path:
    objects = []
    for path in sources:
        made = folder / f"{path.name}.o"
        flags = [*_CORE_FLAGS, *_flags(board), *_include(board, core)]
        run_program([*_compiler(path), *flags, "-c", "-o", made, path], timeout_s=120)
        objects.append(made)
    archive = folder / "core.a"
    run_program(["avr-ar", "rcsD", archive, *objects])
    return archive


def _own_object(
    board: Board, core: Path, path: Path, output: Path, flags: Sequence[str], timeout_s: float
) -> Path:
    made = output / f"{path.name}.o"
    command: list[str | Path] = [*_compiler(path), *_flags(board), *_include(board, core), *flags]
    command += ["-include", "Arduino.h", "-x", "c++", path] if path.suffix == ".ino" else [path]
    run_program([*command, "-c", "-o", made], timeout_s=timeout_s)
    return made


def _compiler(path: Path) -> list[str]:
    if path.suffix == ".c":
        return ["avr-gcc", *_C]
    if path.suffix == ".S":
        return ["avr-gcc", "-x", "assembler-with-cpp"]
    return ["avr-g++", *_CXX]


def _flags(board: Board) -> list[str]:
    """Name the board to the compiler, as its own editor does."""
    flags = [f"-mmcu={board.mcu}", f"-DF_CPU={board.clock_hz}L", f"-DARDUINO={_VERSION}"]
    flags += [f"-DARDUINO_{_BOARD_MACROS[board.name]}", "-DARDUINO_ARCH_AVR"]
    if board.name in _USB:
        flags += ["-DUSB_VID=0x2341", f"-DUSB_PID={_USB[board.name]}"]
        flags += ['-DUSB_MANUFACTURER="Arduino LLC"', f'-DUSB_PRODUCT="Arduino {board.name.capitalize()}"']
    return flags


def _include(board: Board, core: Path) -> list[str]:
    return [text for folder in _folders(board, core) for text in ("-I", str(folder))]


def _folders(board: Board, core: Path) -> tuple[Path, Path]:
    return core / "cores" / "arduino", core / "variants" / board.variant
