"""Which branches of a program were taken: compiling with g++ so that it counts, and asking gcov."""

import json
import shutil
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from sequencer.base.errors import ToolError
from sequencer.build.compilers import COMMON_FLAGS
from sequencer.build.programs import run_program

PACKAGE = "g++"  # which brings gcov, too
# unoptimised, so that each branch in the text is one in the program
_COUNTING = ("g++", "-std=c++11", *COMMON_FLAGS, "-O0", "-fno-inline", "--coverage")


@dataclass(frozen=True, slots=True)
class Branch:
    """One way that a line's decision can go: which, in the compiler's order, and how often it was taken."""

    line: int
    number: int
    taken: int


@dataclass(frozen=True, slots=True)
class Counts:
    """What was counted of one file. lines: line -> how often it was run, for those with code."""

    branches: tuple[Branch, ...]
    lines: dict[int, int]


def missing_for_coverage() -> str:
    """Name the Debian package to install; empty if all is there."""
    return "" if shutil.which("g++") and shutil.which("gcov") else PACKAGE


def build_counting(folder: Path, sources: Sequence[str]) -> Path:
    """Compile and link sources in a folder to a program that counts. Raises ToolError."""
    run_program([*_COUNTING, "-o", "program", *sources], folder=folder)
    return folder / "program"


def counts_of(folder: Path, source: str) -> Counts:
    """Read what a program that came to its end counted of one of its sources. Raises ToolError."""
    data = folder / f"program-{Path(source).stem}.gcda"
    if not data.exists():
        raise ToolError(f"the program left no counts for {source}")
    text = run_program(
        ["gcov", "--json-format", "--branch-probabilities", "--stdout", data.name], folder=folder
    )
    files = [file for file in json.loads(text)["files"] if file["file"] == source]
    taken: dict[tuple[int, int], int] = {}
    lines: dict[int, int] = {}
    for line in (line for file in files for line in file["lines"]):  # a template's come once for each type
        place = line["line_number"]
        lines[place] = lines.get(place, 0) + line["count"]
        for number, branch in enumerate(line["branches"]):
            taken[place, number] = taken.get((place, number), 0) + branch["count"]
    return Counts(tuple(Branch(*where, count) for where, count in taken.items()), lines)
