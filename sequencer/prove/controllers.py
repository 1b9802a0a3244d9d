"""The controllers on which a gait is proved: how programs are built for it, on what they run."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Final, Literal

from sequencer.base.errors import ToolError
from sequencer.build import cross, emulators
from sequencer.build.cache import cached, content_key
from sequencer.build.compilers import COMMON_FLAGS, ZIG, find_compiler
from sequencer.build.cross import CrossCompiler
from sequencer.build.programs import run_program
from sequencer.prove.program import LINKING, own_file

Unit = Literal["cycles", "instructions", ""]


@dataclass(frozen=True, slots=True)
class Controller:
    """A controller, or the host.

    port: which port header its programs take. clock_hz: a usual clock, for the share of a tick that is used.
    missing: names the Debian packages to install, empty if all is there. run: runs a program, fed from and
    heard through files beside it, within so many seconds; raises ToolError.
    unit: what is counted; a Cortex-M takes 1 to 1.5 cycles an instruction from fast memory (common practice).
    flash, ram: bytes that it has, 0 if that does not matter.
    """

    name: str
    title: str
    port: Literal["avr", "cortex", "host"]
    clock_hz: int
    unit: Unit
    flash: int
    ram: int
    compiler: CrossCompiler | None
    missing: Callable[[], str]
    run: Callable[[Path, float], None]


def _avr_emulator() -> Path:
    source = own_file("avr_emulator.c")
    command = emulators.avr_emulator_command(Path("avr_emulator.c"), Path("avr_emulator"))
    key = content_key([source.read_text(encoding="ascii"), *(str(part) for part in command)])
    return cached(key, lambda folder: emulators.build_avr_emulator(source, folder / "avr_emulator"))


def _run_on_avr(controller: str, program: Path, timeout_s: float) -> None:
    emulators.run_on_avr(_avr_emulator(), controller, program, timeout_s)


def _run_on_host(program: Path, timeout_s: float) -> None:
    run_program([program], folder=program.parent, timeout_s=timeout_s)


def _missing(compiler: CrossCompiler, emulator: Callable[[], str]) -> str:
    return " ".join(filter(None, (cross.missing_package(compiler), emulator())))


def _missing_on_host() -> str:
    try:
        return "g++" if find_compiler().name == ZIG else ""  # zig is called without a C library here
    except ToolError:
        return "g++"


def _avr(name: str, title: str, flash: int, ram: int) -> Controller:
    compiler = cross.avr(name)
    missing = partial(_missing, compiler, emulators.missing_for_avr)
    run = partial(_run_on_avr, name)
    return Controller(name, title, "avr", 16_000_000, "cycles", flash, ram, compiler, missing, run)


def _cortex(name: str, title: str, compiler: CrossCompiler, board: str) -> Controller:
    missing = partial(_missing, compiler, emulators.missing_for_cortex)
    run = partial(emulators.run_on_cortex, board)
    return Controller(name, title, "cortex", 72_000_000, "instructions", 0, 0, compiler, missing, run)


CONTROLLERS: Final = (
    Controller("host", "this machine", "host", 0, "", 0, 0, None, _missing_on_host, _run_on_host),
    _avr("atmega328p", "ATmega328P, 8 bits", 32_768, 2_048),
    _avr("atmega2560", "ATmega2560, 8 bits", 262_144, 8_192),
    _cortex("cortex-m3", "Cortex-M3, 32 bits", cross.CORTEX_M3, "mps2-an385"),
    _cortex("cortex-m4f", "Cortex-M4F, float unit", cross.CORTEX_M4F, "mps2-an386"),
)


def controller(name: str) -> Controller:
    """Find a controller by its name. Raises KeyError."""
    return {c.name: c for c in CONTROLLERS}[name]


def build(target: Controller, folder: Path, sources: tuple[str, ...], *flags: str) -> Path:
    """Compile and link the sources in a folder to a program for a controller; return its path.

    flags: more flags for the compiler; a later one wins. Raises ToolError with the compiler's output.
    """
    if target.compiler is None:
        compiler = find_compiler()
        command = [*compiler.command, "-std=c++11", *COMMON_FLAGS, *compiler.flags, "-O2", *flags]
        run_program([*command, "-o", "program", *sources], folder=folder)
        return folder / "program"
    if target.port == "cortex":
        flags = ("-DPROOF_WITHOUT_MAIN", f"-T{LINKING}", *flags)
    return cross.link(target.compiler, folder, sources, "program.elf", *flags)
