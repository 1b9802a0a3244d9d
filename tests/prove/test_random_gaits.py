"""Random gaits of 1,000 ticks on emulated controllers of 8 and of 32 bits, to the last bit.

A run takes 60 on each; `bash tests/run --all` takes 200 on each.
Ten gaits share a program where the flash allows it: compiling is what takes the time.
"""

from dataclasses import replace
from pathlib import Path
from random import Random

import numpy as np
import pytest
from support.effort import many
from support.prove import differences, random_cases
from support.random_drives import drives_plan
from support.random_plans import random_plan

from sequencer.history.blocks import (
    BY_ANYWHERE,
    BY_GUARD,
    BY_RESET,
    BY_RULE,
    BY_TIMEOUT,
    OUTPUT_CUT,
    OUTPUT_OFF,
    OUTPUT_ON,
    OUTPUT_STALLED,
)
from sequencer.plan.tables import Plan

TICKS = 1000
TOGETHER = 10


def agree(name: str, share: int, gaits: int, folder: Path, *, watched: bool = True) -> None:
    for first in range(0, gaits, TOGETHER):
        cases = random_cases(f"{share}/{first}", min(TOGETHER, gaits - first), TICKS)
        found = differences(name, cases, folder / str(first), watched=watched)
        assert found == [], f"seed {share}/{first} on {name}"


# all: 10 shares of 20 gaits are 200, on each of the two families; the sample: 6 of 10 are 60
SHARES, GAITS = many(6, 10), many(10, 20)


@pytest.mark.parametrize("share", range(SHARES))
def test_random_gaits_agree_on_8_bits(share: int, tmp_path: Path) -> None:
    agree("atmega2560", share, GAITS, tmp_path)


@pytest.mark.parametrize("share", range(SHARES))
def test_random_gaits_agree_on_32_bits(share: int, tmp_path: Path) -> None:
    agree(("cortex-m3", "cortex-m4f")[share % 2], share, GAITS, tmp_path)


def _walk_only(rng: Random, name: str) -> tuple[Plan, list[list[float]]]:
    """Draw a walk without loops and outputs: with them some have no room in 32 kB, watched."""
    plan, pool = random_plan(rng, name)
    return replace(plan, loops=(), outputs=()), pool


@pytest.mark.parametrize("number", range(many(6, 12)))
def test_random_gaits_agree_on_the_smallest_controller(number: int, tmp_path: Path) -> None:
    cases = random_cases(f"small/{number}", 1, 500, _walk_only)
    assert differences("atmega328p", cases, tmp_path) == []


@pytest.mark.parametrize("name", ["host", "atmega2560", "cortex-m4f"])
def test_random_gaits_agree_as_they_are_generated(name: str, tmp_path: Path) -> None:
    agree(name, 99, 10, tmp_path, watched=False)


@pytest.mark.parametrize("watched", [False, True])
@pytest.mark.parametrize("name", ["atmega2560", "cortex-m4f"])
def test_random_gaits_with_loops_and_outputs_agree(name: str, watched: bool, tmp_path: Path) -> None:
    for part in range(many(2, 4)):
        cases = random_cases(f"drives/{part}", 5, TICKS, drives_plan)
        assert differences(name, cases, tmp_path / str(part), watched=watched) == [], f"part {part}"


def test_these_loops_and_outputs_do_everything() -> None:
    cases = [c for part in range(4) for c in random_cases(f"drives/{part}", 5, TICKS, drives_plan)]
    assert len(cases) == 20 and all(case.plan.loops for case in cases)
    states = np.bincount(np.concatenate([c.record.output_state.ravel() for c in cases]), minlength=4)
    assert all(states[kind] > 50 for kind in (OUTPUT_ON, OUTPUT_OFF, OUTPUT_STALLED, OUTPUT_CUT)), states
    moving = [c for c in cases if len(np.unique(c.record.loop)) > 10]
    assert len(moving) > 10


def test_these_gaits_make_everything_happen() -> None:
    """Otherwise their agreement would say little."""
    cases = random_cases("0/0", TOGETHER, TICKS) + random_cases("1/0", TOGETHER, TICKS)
    causes = np.bincount(np.concatenate([(c.record.cause >> 8).ravel() for c in cases]), minlength=6)
    assert all(causes[kind] > 50 for kind in (BY_RESET, BY_TIMEOUT, BY_GUARD, BY_ANYWHERE, BY_RULE)), causes
    margins = [c.record.detail.margin for c in cases if c.record.detail is not None]
    assert sum(int((margin == 0).sum()) for margin in margins) > 500, "ties"
