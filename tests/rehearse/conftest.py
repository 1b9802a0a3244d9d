import pytest
from support.bodies import stork, stork_body
from support.rehearsals import Rehearser

from sequencer.plan.tables import Plan


@pytest.fixture(scope="session")
def plan() -> Plan:
    return stork()


@pytest.fixture(scope="session")
def rehearser(plan: Plan, tmp_path_factory: pytest.TempPathFactory) -> Rehearser:
    """Rehearses the shipped stork, each variant once."""
    return Rehearser(plan, stork_body(), tmp_path_factory.mktemp("rehearsals"))
