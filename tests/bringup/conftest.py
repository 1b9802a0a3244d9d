import pytest
from support.bringup_rig import Rig, build_rig


@pytest.fixture(scope="session")
def rig(tmp_path_factory: pytest.TempPathFactory) -> Rig:
    return build_rig(tmp_path_factory.mktemp("rig"))
