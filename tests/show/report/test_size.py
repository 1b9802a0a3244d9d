"""A page of an ordinary run stays small enough to be sent by mail."""

import numpy as np
import pytest
from support.long_recordings import TWELVE_WALK

import sequencer
from sequencer.api import Gait
from sequencer.show.report.build import report_bytes
from sequencer.show.report.recorded import RunSource
from sequencer.trace.blocks import FRESH_VALUE, TickBlock, empty_block

TICKS, SIGNALS = 20_000, 12
MOST_BYTES = 10_000_000 * TICKS // 100_000  # 10 MB for 100,000 ticks


@pytest.fixture(scope="module")
def gait() -> Gait:
    return sequencer.loads(TWELVE_WALK)


def noisy(every: int) -> TickBlock:
    """Twelve sines with noise of 0.2 deg, with a fresh sample in every so many ticks."""
    rng = np.random.default_rng(1)
    block = empty_block(TICKS, SIGNALS)
    ticks = np.arange(TICKS)
    block.now[:] = ticks * 10
    swing = 20 * np.sin(ticks[:, None] * 2 * np.pi / 150 + np.arange(SIGNALS))
    block.raw[:] = swing + rng.normal(0, 0.2, (TICKS, SIGNALS))
    block.fresh[::every] = FRESH_VALUE
    return block


@pytest.mark.parametrize("every", [1, 2])
def test_twelve_noisy_signals_take_less_than_their_share_of_ten_megabytes(gait: Gait, every: int) -> None:
    run = gait.dry_run([noisy(every)], executor="reference")
    assert len(run.transitions) > 100
    assert len(report_bytes(gait.plan, [RunSource("noise", run)])) < MOST_BYTES
