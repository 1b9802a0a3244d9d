"""The static checkers that generated code must pass: how they are called, and what they find."""

import re
import shutil
from collections.abc import Iterable, Sequence
from pathlib import Path

from sequencer.base.errors import ToolError
from sequencer.build.arduino_core import find_core
from sequencer.build.programs import run_program
from sequencer.plan.boards import Board

AVR_HEADERS = Path("/usr/lib/avr/include")

# What cppcheck must not say, and why it may be as it is.
CPPCHECK_LEAVES_OUT = {
    "constParameter": "guards take a State that hooks may write to; without hooks some do not write",
    "duplicateCondition": "the smallest gaits have nothing between two questions where others have a lot",
    "knownConditionTrueFalse": "the smallest gaits have one answer only to what others must ask",
    "redundantInitialization": "every variable has a value from the start, whatever branches give it",
    "unsignedLessThanZero": "the last of a row of signals may be the first: i <= 0",
    "shiftNegativeLHS": "it is asserted that a shift keeps the sign, before anything is built on it",
    "incorrectLogicOperator": "not (x <= 0 or x >= 0) asks whether x is no number; x != x may not be written",
}
CPPCHECK = (
    *("cppcheck", "--platform=avr8", "--std=c++11", "--language=c++", "--quiet", "--force", "--inconclusive"),
    *("--enable=warning,style,performance,portability", "--error-exitcode=3", "--template=gcc"),
    *(f"--suppress={name}" for name in CPPCHECK_LEAVES_OUT),
)

# What clang-tidy looks for: slips (bugprone), the CERT rules, paths through the code (clang-analyzer), and
# what no code for a controller should have. The rest of its families is mostly about style or newer C++.
TIDY_LOOKS_FOR = (
    *("bugprone-*", "cert-*", "clang-analyzer-*", "misc-no-recursion", "misc-redundant-expression"),
    *("misc-definitions-in-headers", "hicpp-avoid-goto", "hicpp-no-malloc", "hicpp-no-assembler"),
)
TIDY_LEAVES_OUT = {
    "bugprone-easily-swappable-parameters": "an index and a threshold stand beside each other all the time; "
    "the calls are written by templates, not by hand",
    "bugprone-branch-clone": "two phases may do the same, and hooks that nobody filled in do nothing twice",
}
# and in a board's program besides
TIDY_LEAVES_OUT_OF_BOARDS = {
    "bugprone-incorrect-roundings": "what is rounded is a duty or a pulse: in a small span, not negative",
    "bugprone-suspicious-memory-comparison": "numbers are compared by their bits, on purpose",
    "cert-exp42-c": "the same",
    "cert-flp37-c": "the same",
}

_FINDING = re.compile(r"^(.+?):(\d+):\d+: (?:warning|error|style|performance|portability): .*\[([\w.,-]+)\]$")


def cppcheck(folder: Path, sources: Sequence[str]) -> list[str]:
    """Run cppcheck for a controller with 16 bits in an int; list its findings as ``file:line name``."""
    return _findings([*CPPCHECK, *sources], folder)


def clang_tidy(
    folder: Path, sources: Sequence[str], *flags: str, leave_out: Iterable[str] = TIDY_LEAVES_OUT
) -> list[str]:
    """Run clang-tidy; list its findings, those in headers included. flags: for the compiler."""
    checks = ",".join(["-*", *TIDY_LOOKS_FOR, *(f"-{name}" for name in leave_out)])
    command = ["clang-tidy", "--quiet", f"--checks={checks}", "--header-filter=.*", "--warnings-as-errors=*"]
    return _findings([*command, *sources, "--", "-std=c++11", *flags], folder)


def clang_tidy_of_board(folder: Path, sources: Sequence[str], board: Board) -> list[str]:
    """Run clang-tidy on files of a board's program, with the headers of its core, for its 8-bit controller.

    clang does not know all that avr-gcc does: the watchdog's assembly and naked functions are left out.
    """
    core = find_core()
    headers = (core / "cores" / "arduino", core / "variants" / board.variant, AVR_HEADERS)
    flags = ["--target=avr", f"-mmcu={board.mcu}", f"-DF_CPU={board.clock_hz}L", "-DARDUINO=10819"]
    flags += ["-D__AVR_ATmega2560__", "-DARDUINO_ARCH_AVR", "-D_AVR_WDT_H_", "-Dnaked=unused"]
    flags += [f"-Dwdt_{name}=static_cast<void>(0)" for name in ("enable(x)", "reset()", "disable()")]
    flags += [part for header in headers for part in ("-isystem", str(header))]
    out = {**TIDY_LEAVES_OUT, **TIDY_LEAVES_OUT_OF_BOARDS}
    return clang_tidy(folder, sources, *flags, leave_out=out)


def _findings(command: Sequence[str], folder: Path) -> list[str]:
    """Run a checker. Raises ToolError if it fails without a finding, or is not there."""
    if shutil.which(command[0]) is None:
        raise ToolError(f"{command[0]} is not installed")
    try:
        run_program(command, folder=folder, timeout_s=600)
    except ToolError as error:
        matches = [_FINDING.match(line) for line in error.output.splitlines()]
        found = [f"{Path(m[1]).name}:{m[2]} {m[3].partition(',')[0]}" for m in matches if m is not None]
        if not found:
            raise
        return found
    return []
