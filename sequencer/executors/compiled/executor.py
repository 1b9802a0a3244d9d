"""Running a plan by its generated C++."""

from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sequencer.base.binary32 import f32
from sequencer.base.errors import MisuseError, ToolError
from sequencer.build.cache import cached, content_key
from sequencer.build.compilers import LIBRARY_FLAGS, Compiler, build_library, find_compiler
from sequencer.executors.compiled.library import Library, block_of, record_of
from sequencer.generate.host import host_files
from sequencer.history.blocks import HistoryBlock, new_block
from sequencer.history.units import in_units, record_in_units
from sequencer.plan.tables import Plan
from sequencer.trace.blocks import TickBlock
from sequencer.trace.steps import block_in_steps

OPTIMISE = "-O2"


def compiler_available() -> bool:
    """Tell whether this machine has a C++ compiler that starts."""
    try:
        find_compiler()
    except ToolError:
        return False
    return True


class CompiledExecutor:
    """Runs a plan as its generated C++; implements `sequencer.history.blocks.Executor`.

    The library is built once per gait, compiler and version of this package and kept in a private cache.
    Several executors may run at the same time in different threads; one must not be shared.

    compiler: a program or ``zig``; None takes the first that `find_compiler` finds. Raises ToolError if there
    is no compiler or it fails, MisuseError if a name cannot stand in C++ or the cache is not ours.
    """

    def __init__(self, plan: Plan, compiler: str | None = None) -> None:
        self._start(plan, Library(build_plan(plan, find_compiler(compiler))))

    @classmethod
    def from_library(cls, plan: Plan, library: Library) -> "CompiledExecutor":
        """Run a plan by a library that was built from it already."""
        executor = cls.__new__(cls)
        executor._start(plan, library)
        return executor

    def _start(self, plan: Plan, library: Library) -> None:
        self.plan = plan
        self._library = library
        self._memory = np.zeros(-(-library.size() // 8), np.uint64)  # zero bytes, aligned to 8
        self._setpoints = np.array([s.start for s in plan.setpoints], np.float32)
        self._outputs = np.zeros(len(plan.outputs), np.float32)
        library.begin(self._memory.ctypes.data)

    @property
    def setpoints(self) -> NDArray[np.float32]:
        """The ramped setpoint values after the last tick, float32 (setpoints,), each in its own unit."""
        return self._setpoints.copy()

    @property
    def outputs(self) -> NDArray[np.float32]:
        """What goes to the motors after the last tick, float32 (outputs,), bare numbers in their spans."""
        return self._outputs.copy()

    @property
    def parameters(self) -> tuple[float, ...]:
        """The parameters as they stand, each in its own unit."""
        values = np.zeros(len(self.plan.parameters), np.float32)
        self._library.parameters(self._memory.ctypes.data, values.ctypes.data)
        if self.plan.fixed is not None:
            values = in_units(values, self.plan.fixed.parameters)
        return tuple(values.tolist())

    def reset(self) -> None:
        """Start over: the next tick enters each first phase; parameters keep their values."""
        self._library.reset(self._memory.ctypes.data)

    def run(self, block: TickBlock, *, detail: bool = False) -> HistoryBlock:
        """Run the block's ticks in order and return their record.

        Raises MisuseError if the block's arrays do not fit the plan or a write names no parameter.
        """
        if self.plan.fixed is not None:
            block = self._in_steps(block)
        row, parameter, value = self._writes(block)
        record = new_block(self.plan, len(block), detail=detail)
        refused = np.zeros(1, np.uint32)
        try:
            inputs = block_of(block, len(self.plan.signals), row, parameter, value)
        except TypeError as error:
            raise MisuseError(f"the block does not fit the plan: {error}") from error
        self._library.run(self._memory.ctypes.data, inputs, record_of(record, refused))
        record.now[:] = block.now
        if self.plan.fixed is not None:
            record = record_in_units(self.plan, record)
        if len(block):
            self._setpoints = record.setpoint[-1].copy()
            self._outputs = record.output[-1].copy()
        return replace(record, refused=int(refused[0]))

    def _in_steps(self, block: TickBlock) -> TickBlock:
        signals = len(self.plan.signals)
        if block.raw.shape != (len(block), signals) or block.fresh.shape != (len(block), signals):
            raise MisuseError(f"the block does not fit the plan: {signals} columns are needed")
        return block_in_steps(self.plan, block)

    def _writes(self, block: TickBlock) -> tuple[NDArray[np.int64], NDArray[np.uint32], NDArray[np.float32]]:
        writes = sorted(block.writes, key=lambda write: write.row)  # stable: arrival order within a tick
        for write in writes:
            if not 0 <= write.parameter < len(self.plan.parameters):
                raise MisuseError(f"there is no parameter number {write.parameter}")
        return (
            np.array([write.row for write in writes], np.int64),
            np.array([write.parameter for write in writes], np.uint32),
            np.array([f32(write.value) for write in writes], np.float32),
        )


def build_plan(plan: Plan, compiler: Compiler) -> Path:
    """Build the plan's library, or find it in the cache; return its path."""
    files, source = host_files(plan)
    key = content_key(
        [
            *compiler.identity,
            *LIBRARY_FLAGS,
            OPTIMISE,
            source,
            *(part for file in files.items() for part in file),
        ]
    )
    return cached(key, partial(_build, files, source, compiler))


def _build(files: dict[str, str], source: str, compiler: Compiler, folder: Path) -> Path:
    for name, text in files.items():
        (folder / name).write_text(text, encoding="ascii")
    return build_library(compiler, folder, source, "gait.so", optimise=OPTIMISE)
