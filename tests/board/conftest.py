"""The stork's program, built once for all tests of boards that look at it from outside."""

import pytest
from support.board.programs import Program, stork_program


@pytest.fixture(scope="session")
def stork(tmp_path_factory: pytest.TempPathFactory) -> Program:
    """The stork's program with telemetry in every tick; sensors need to be still for 200 ms only."""
    return stork_program(tmp_path_factory.mktemp("stork"))
