"""C++ compilers on this machine: which there are, and how to call them.

Every call turns off contraction: a fused multiply-add rounds once where the readable form of a tick rounds
twice, and that changes when guards fire.
"""

import os
import shlex
import shutil
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path

from sequencer.base.errors import ToolError
from sequencer.build.programs import run_program

NAMES = ("g++", "clang++", "c++")  # in the order in which they are tried
ZIG = "zig"
COMMON_FLAGS = ("-ffp-contract=off", "-fno-exceptions", "-fno-rtti")
LIBRARY_FLAGS = ("-std=c++11", *COMMON_FLAGS, "-shared", "-fPIC", "-fvisibility=default")
# zig means this very processor unless told otherwise; its C++ library is large, slow to build and not needed
ZIG_FLAGS = ("-mcpu=baseline", "-nostdlib", "-fno-sanitize=all")
_HINT = "install one (Debian: apt install g++), or the extra: pip install 'gait-sequencer[zig]'"


@dataclass(frozen=True, slots=True)
class Compiler:
    """A C++ compiler: how it is called, the flags that it alone needs, and what it says its version is."""

    name: str
    command: tuple[str, ...]
    flags: tuple[str, ...]
    version: str

    @property
    def identity(self) -> tuple[str, ...]:
        """What tells this compiler from others: command, flags, version."""
        return (*self.command, *self.flags, self.version)


def find_compiler(name: str | None = None) -> Compiler:
    """Find a C++ compiler for this machine.

    name: a program (``g++``, a path) or ``zig``. Without one: what the environment variable CXX says, else
    the first of g++, clang++, c++, else the ziglang package. Raises ToolError if there is none, or it does
    not run.
    """
    if name is not None:
        return _named(name)
    if os.environ.get("CXX", "").strip():
        return _named(os.environ["CXX"])
    for candidate in NAMES:
        if shutil.which(candidate):
            return _named(candidate)
    if find_spec("ziglang") is not None:
        return _zig()
    raise ToolError("there is no C++ compiler on this machine", hint=_HINT)


def compilers_found() -> list[str]:
    """Name the compilers on this machine that `find_compiler` knows."""
    found = [name for name in NAMES if shutil.which(name)]
    return [*found, ZIG] if find_spec("ziglang") is not None else found


@lru_cache(maxsize=32)
def _named(text: str) -> Compiler:
    if text == ZIG:
        return _zig()
    try:
        program, *flags = shlex.split(text)
    except ValueError:
        program, flags = "", []
    path = shutil.which(program) if program else None
    if path is None:
        raise ToolError(f"there is no compiler {text!r} on this machine", hint=_HINT)
    version = run_program([path, "--version"], timeout_s=20).partition("\n")[0]
    return Compiler(Path(program).name, (path, *flags), (), version)


def _zig() -> Compiler:
    if find_spec("ziglang") is None:
        raise ToolError("the package ziglang is not installed", hint="pip install 'gait-sequencer[zig]'")
    command = (sys.executable, "-m", "ziglang", "cc")
    version = run_program([sys.executable, "-m", "ziglang", "version"], timeout_s=60).strip()
    return Compiler(ZIG, command, ZIG_FLAGS, version)


def library_command(compiler: Compiler, source: str, output: str, optimise: str = "-O2") -> list[str]:
    """Give the command that makes a shared library of one file; both names are relative to its folder."""
    return [*compiler.command, *LIBRARY_FLAGS, *compiler.flags, optimise, "-o", output, source]


def build_library(
    compiler: Compiler,
    folder: Path,
    source: str,
    output: str,
    *,
    optimise: str = "-O2",
    timeout_s: float = 300,
) -> Path:
    """Make a shared library in `folder` and return its path. Raises ToolError with the compiler's output."""
    run_program(library_command(compiler, source, output, optimise), folder=folder, timeout_s=timeout_s)
    return folder / output


def compile_object(
    command: Sequence[str], folder: Path, source: str, output: str, *, timeout_s: float = 120
) -> Path:
    """Compile one source file to an object with the compiler and flags in `command` (for any target).

    Raises ToolError with the compiler's output; with ``-Werror`` among the flags, warnings are errors.
    """
    run_program([*command, *COMMON_FLAGS, "-c", "-o", output, source], folder=folder, timeout_s=timeout_s)
    return folder / output
