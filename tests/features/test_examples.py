"""What the examples say must come out, does."""

from pytest_bdd import scenarios
from support.commands import REPOSITORY

for path in sorted((REPOSITORY / "examples").glob("*/*.feature")):
    scenarios(str(path))


def test_every_example_says_what_must_come_out() -> None:
    gaits = {path.parent for path in (REPOSITORY / "examples").glob("*/*.gait.yaml")}
    assert gaits
    assert {path.parent for path in (REPOSITORY / "examples").glob("*/*.feature")} == gaits
