"""The executors that must agree: every test of the tick's meaning runs in each of them."""

from collections.abc import Callable

import pytest

from sequencer.executors.compiled import CompiledExecutor
from sequencer.executors.reference import ReferenceExecutor
from sequencer.history.blocks import Executor
from sequencer.plan.tables import Plan

MakeExecutor = Callable[[Plan], Executor]

EXECUTORS: dict[str, MakeExecutor] = {"reference": ReferenceExecutor, "compiled": CompiledExecutor}


@pytest.fixture(params=list(EXECUTORS))
def make_executor(request: pytest.FixtureRequest) -> MakeExecutor:
    """Give the constructor of one executor after the other."""
    return EXECUTORS[request.param]
