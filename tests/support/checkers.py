"""The static checkers that generated code must pass: how they are called, and what they find."""

import re
import shutil
from collections.abc import Sequence
from pathlib import Path

from sequencer.base.errors import ToolError
from sequencer.build.programs import run_program

# What cppcheck must not say, and why it may be as it is.
CPPCHECK_LEAVES_OUT = {
    "constParameter": "guards take a State that hooks may write to; without hooks some do not write",
    "duplicateCondition": "the smallest gaits have nothing between two questions where others have a lot",
    "knownConditionTrueFalse": "the smallest gaits have one answer only to what others must ask",
    "redundantInitialization": "every variable has a value from the start, whatever branches give it",
    "unsignedLessThanZero": "the last of a row of signals may be the first: i <= 0",
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
_TIDY = ",".join(["-*", *TIDY_LOOKS_FOR, *(f"-{name}" for name in TIDY_LEAVES_OUT)])

_FINDING = re.compile(r"^(.+?):(\d+):\d+: (?:warning|error|style|performance|portability): .*\[([\w.,-]+)\]$")


def cppcheck(folder: Path, sources: Sequence[str]) -> list[str]:
    """Run cppcheck for a controller with 16 bits in an int; list its findings as ``file:line name``."""
    return _findings([*CPPCHECK, *sources], folder)


def clang_tidy(folder: Path, sources: Sequence[str], *flags: str) -> list[str]:
    """Run clang-tidy; list its findings, those in headers included. flags: for the compiler."""
    command = ["clang-tidy", "--quiet", f"--checks={_TIDY}", "--header-filter=.*", "--warnings-as-errors=*"]
    return _findings([*command, *sources, "--", "-std=c++11", *flags], folder)


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
