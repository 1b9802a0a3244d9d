"""Random gaits on emulated controllers: 200 of 1,000 ticks on 8 and on 32 bits, to the last bit.

Ten gaits share a program where the flash allows it: compiling is what takes the time.
"""

from pathlib import Path

import numpy as np
import pytest
from support.prove import differences, random_cases

from sequencer.history.blocks import BY_ANYWHERE, BY_GUARD, BY_RESET, BY_RULE, BY_TIMEOUT

TICKS = 1000
TOGETHER = 10


def agree(name: str, share: int, gaits: int, folder: Path, *, watched: bool = True) -> None:
    for first in range(0, gaits, TOGETHER):
        cases = random_cases(f"{share}/{first}", min(TOGETHER, gaits - first), TICKS)
        found = differences(name, cases, folder / str(first), watched=watched)
        assert found == [], f"seed {share}/{first} on {name}"


# 10 shares of 20 gaits are 200, on each of the two families
@pytest.mark.parametrize("share", range(10))
def test_200_random_gaits_agree_on_8_bits(share: int, tmp_path: Path) -> None:
    agree("atmega2560", share, 20, tmp_path)


@pytest.mark.parametrize("share", range(10))
def test_200_random_gaits_agree_on_32_bits(share: int, tmp_path: Path) -> None:
    agree(("cortex-m3", "cortex-m4f")[share % 2], share, 20, tmp_path)


@pytest.mark.parametrize("number", range(12))
def test_random_gaits_agree_on_the_smallest_controller(number: int, tmp_path: Path) -> None:
    cases = random_cases(f"small/{number}", 1, 500)
    assert differences("atmega328p", cases, tmp_path) == []


@pytest.mark.parametrize("name", ["host", "atmega2560", "cortex-m4f"])
def test_random_gaits_agree_as_they_are_generated(name: str, tmp_path: Path) -> None:
    agree(name, 99, 10, tmp_path, watched=False)


def test_these_gaits_make_everything_happen() -> None:
    """Otherwise their agreement would say little."""
    cases = random_cases("0/0", TOGETHER, TICKS) + random_cases("1/0", TOGETHER, TICKS)
    causes = np.bincount(np.concatenate([(c.record.cause >> 8).ravel() for c in cases]), minlength=6)
    assert all(causes[kind] > 50 for kind in (BY_RESET, BY_TIMEOUT, BY_GUARD, BY_ANYWHERE, BY_RULE)), causes
    margins = [c.record.detail.margin for c in cases if c.record.detail is not None]
    assert sum(int((margin == 0).sum()) for margin in margins) > 500, "ties"
