"""The executors that must agree: tests of the tick run in each of them."""

from collections.abc import Callable

from sequencer.executors.reference import ReferenceExecutor
from sequencer.history.blocks import Executor
from sequencer.plan.tables import Plan

EXECUTORS: dict[str, Callable[[Plan], Executor]] = {"reference": ReferenceExecutor}
