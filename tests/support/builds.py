"""Building many generated gaits into one library, which takes far less time than one each."""

from collections.abc import Iterable, Sequence
from pathlib import Path

from sequencer.base.errors import DifferenceError
from sequencer.build.compilers import Compiler, build_library, find_compiler
from sequencer.executors.compiled.executor import CompiledExecutor
from sequencer.executors.compiled.library import Library
from sequencer.generate.host import host_files
from sequencer.history.blocks import HistoryBlock
from sequencer.history.compare import first_difference
from sequencer.plan.tables import Plan


def build_many(
    plans: Sequence[Plan], folder: Path, compiler: Compiler | None = None, optimise: str = "-O1"
) -> list[CompiledExecutor]:
    """Build plans, whose names must differ, into one library; return an executor for each."""
    includes = []
    for number, plan in enumerate(plans):
        files, glue = host_files(plan, symbol=f"gait{number}")
        includes.append(f'#include "{glue}"\n')
        write_files(files.items(), folder)
    write_files([("all.cpp", "".join(includes))], folder)
    path = build_library(compiler or find_compiler(), folder, "all.cpp", "all.so", optimise=optimise)
    return [CompiledExecutor.from_library(plan, Library(path, f"gait{i}")) for i, plan in enumerate(plans)]


def write_files(files: Iterable[tuple[str, str]], folder: Path) -> None:
    for name, text in files:
        (folder / name).write_text(text, encoding="ascii")


def insist_on_equal(plan: Plan, a: HistoryBlock, b: HistoryBlock, what: str) -> None:
    """Raise DifferenceError with both states if two records differ in any bit."""
    difference = first_difference(plan, a, b)
    if difference is not None:
        raise DifferenceError(f"{what}: tick {difference.row}, {difference.field}", difference.states)
