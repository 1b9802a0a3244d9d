"""Cross compilers for small controllers: which there are, how to call them, what package brings them."""

import shutil
from dataclasses import dataclass, replace
from pathlib import Path

from sequencer.build.compilers import COMMON_FLAGS
from sequencer.build.programs import run_program

# the flags of the boards' own editors: no exceptions, nothing linked that is not called
_SMALL = (
    "-Os",
    *COMMON_FLAGS,
    "-fno-threadsafe-statics",
    "-ffunction-sections",
    "-fdata-sections",
    "-Wl,--gc-sections",
)
_CORTEX = ("-std=gnu++11", "-mthumb", "-ffreestanding", "-nostartfiles", "-nostdlib")


@dataclass(frozen=True, slots=True)
class CrossCompiler:
    """A cross compiler for one kind of controller.

    program: what is called. flags: for every call. libraries: come last. size: the program that tells sizes.
    start: a file of the C library that the linker must find, or empty. package: what to install.
    """

    program: str
    flags: tuple[str, ...]
    libraries: tuple[str, ...]
    size: str
    start: str
    package: str

    def with_flags(self, *flags: str) -> "CrossCompiler":
        """Give the same compiler with more flags; a flag given later wins."""
        return replace(self, flags=(*self.flags, *flags))


def avr(controller: str) -> CrossCompiler:
    """Give the compiler for an 8-bit controller, such as ``atmega328p``."""
    flags = ("-std=gnu++11", f"-mmcu={controller}", *_SMALL)
    return CrossCompiler(
        "avr-g++", flags, (), "avr-size", f"crt{controller}.o", "gcc-avr avr-libc binutils-avr"
    )


def cortex(*processor: str) -> CrossCompiler:
    """Give the compiler for a 32-bit Cortex-M without a C library; `processor` are the flags that name it."""
    flags = (*_CORTEX, *processor, *_SMALL)
    return CrossCompiler(
        "arm-none-eabi-g++",
        flags,
        ("-lgcc",),
        "arm-none-eabi-size",
        "",
        "gcc-arm-none-eabi binutils-arm-none-eabi",
    )


CORTEX_M3 = cortex("-mcpu=cortex-m3")
CORTEX_M4F = cortex("-mcpu=cortex-m4", "-mfloat-abi=hard", "-mfpu=fpv4-sp-d16")


def missing_package(compiler: CrossCompiler) -> str:
    """Name the Debian packages to install for a compiler; empty if it is there."""
    if not (shutil.which(compiler.program) and shutil.which(compiler.size)):
        return compiler.package
    if compiler.start:
        question = [compiler.program, *compiler.flags, f"-print-file-name={compiler.start}"]
        if not Path(run_program(question).strip()).is_absolute():  # a name that is not found comes back bare
            return compiler.package
    return ""


def link(
    compiler: CrossCompiler,
    folder: Path,
    sources: tuple[str, ...],
    output: str,
    *flags: str,
    timeout_s: float = 300,
) -> Path:
    """Compile and link sources of a folder to a program; return its path.

    Raises ToolError with the compiler's output.
    """
    command = [compiler.program, *compiler.flags, *flags, "-o", output, *sources, *compiler.libraries]
    run_program(command, folder=folder, timeout_s=timeout_s)
    return folder / output
