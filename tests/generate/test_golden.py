"""The generated text, letter for letter, for one gait per feature."""

from collections.abc import Callable
from pathlib import Path

import pytest
from support.feature_plans import feature_plans

import sequencer
from sequencer.generate.render import generate
from sequencer.plan.tables import Plan

GOLDEN = Path(__file__).parent / "golden"
PLANS = feature_plans()


@pytest.mark.parametrize("feature", PLANS)
def test_the_text_of_each_feature_is_as_agreed(feature: str, golden: Callable[[Path, str], None]) -> None:
    for name, text in generate(PLANS[feature]).items():
        golden(GOLDEN / feature / name, text.replace(sequencer.__version__, "VERSION"))


def test_there_is_no_golden_file_without_its_feature() -> None:
    expected = {f"{feature}/{name}" for feature, plan in PLANS.items() for name in generate(plan)}
    assert {str(p.relative_to(GOLDEN)) for p in GOLDEN.rglob("*") if p.is_file()} == expected


@pytest.mark.parametrize("plan", PLANS.values(), ids=PLANS)
def test_the_same_gait_gives_the_same_bytes(plan: Plan) -> None:
    assert generate(plan) == generate(plan)
