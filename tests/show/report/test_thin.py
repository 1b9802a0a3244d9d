"""A long run made small: what matters is kept tick by tick, and no spike is lost elsewhere."""

from itertools import pairwise
from random import Random

import numpy as np
import pytest

from sequencer.show.report.columns import ColumnHead
from sequencer.show.report.document import Kept
from sequencer.show.report.pack import unpack
from sequencer.show.report.thin import BUCKETS, MOST_IN_WINDOWS, Keeper, choose

HEADS = [ColumnHead("tilt", "deg", "signal"), ColumnHead("truth 0", "", "truth")]


def test_a_run_of_ordinary_length_is_kept_whole() -> None:
    assert choose(100_000, 40, [5], 400) == Kept([(0, 100_000)], 0)
    assert choose(0, 40, [], 400) == Kept([], 0)


def test_of_a_long_run_what_matters_is_kept_within_the_room_there_is() -> None:
    ticks, drawn = 10_000_000, 30
    rng = Random(1)
    moments = [rng.randrange(ticks) for _ in range(1000)]
    kept = choose(ticks, drawn, moments, 400)
    inside = [any(a <= m < b for a, b in kept.windows) for m in moments]
    assert all(inside[:40])  # the most important first
    assert not all(inside)
    assert sum(b - a for a, b in kept.windows) * drawn <= MOST_IN_WINDOWS
    assert kept.windows[0][0] == 0
    assert kept.windows[-1][1] == ticks
    assert all(a[1] < b[0] for a, b in pairwise(kept.windows))
    assert ticks / kept.bucket <= BUCKETS


@pytest.mark.parametrize("seed", range(20))
def test_every_spike_stands_in_its_bucket_and_every_kept_tick_in_its_window(seed: int) -> None:
    rng = np.random.default_rng(seed)
    ticks, bucket = int(rng.integers(1, 3000)), int(rng.integers(1, 70))
    edges = sorted({0, ticks, *rng.integers(0, ticks + 1, 7).tolist()})
    windows = [(a, b) for a, b in pairwise(edges) if rng.random() < 0.4]
    values = rng.normal(0, 1, ticks).astype(np.float32)
    values[rng.random(ticks) < 0.2] = np.nan
    values[int(rng.integers(0, ticks))] = 1e6
    truth = rng.integers(0, 4, ticks).astype(np.float32)
    times = np.cumsum(rng.choice([10, 10, 10, 250], ticks)).astype(np.int64)
    keeper = Keeper(HEADS, Kept(windows, bucket), ticks)
    cuts = sorted({0, ticks, *rng.integers(0, ticks + 1, 9).tolist()})
    for start, stop in pairwise(cuts):
        keeper.add([values[start:stop], truth[start:stop]], times[start:stop])
    column, flags = keeper.columns()
    for (start, stop), piece, flag in zip(windows, column.pieces, flags.pieces, strict=True):
        assert np.array_equal(unpack(piece), values[start:stop], equal_nan=True)
        assert np.array_equal(unpack(flag), truth[start:stop])
    assert column.coarse is not None
    assert flags.coarse is None
    for number, (least, most) in enumerate(
        zip(unpack(column.coarse.least), unpack(column.coarse.most), strict=True)
    ):
        part = values[number * bucket : (number + 1) * bucket]
        known = part[~np.isnan(part)]
        assert (len(known) == 0 and np.isnan(least)) or (least == known.min() and most == known.max())
    clock = keeper.clock(10)
    if clock.pieces is not None:
        assert clock.buckets is not None
        assert unpack(clock.buckets).tolist() == times[::bucket].tolist()
        assert [unpack(p).tolist() for p in clock.pieces] == [times[a:b].tolist() for a, b in windows]
    else:
        assert (np.diff(times) == clock.step).all()


def test_an_even_clock_is_told_in_two_numbers() -> None:
    keeper = Keeper(HEADS, Kept([(0, 50)], 0), 50)
    for start in range(0, 50, 7):
        block = np.arange(start, min(start + 7, 50))
        keeper.add([block.astype(np.float32)] * 2, block * 10 + 30)
    clock = keeper.clock(10)
    assert (clock.start, clock.step, clock.pieces, clock.buckets) == (30, 10, None, None)
