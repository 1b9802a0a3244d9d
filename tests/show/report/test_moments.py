"""Which moments of a long run are kept first."""

import numpy as np

from sequencer.show.report.recorded import MOST_MOMENTS, spread_moments


def test_however_many_moments_find_room_they_are_spread_over_the_run() -> None:
    ticks = np.arange(0, 1_000_000, 7)
    found = spread_moments(ticks)
    assert len(found) == MOST_MOMENTS
    assert found[0] == 0
    assert set(found) <= set(ticks.tolist())
    for room in (8, 20, 70, 150):
        gaps = np.diff(sorted([*found[:room], 1_000_000]))
        assert gaps.max() < 4 * 1_000_000 / room


def test_moments_in_order_of_time_would_be_seen() -> None:
    found = sorted(spread_moments(np.arange(0, 1_000_000, 7)))
    assert np.diff(sorted([*found[:70], 1_000_000])).max() > 4 * 1_000_000 / 70


def test_few_moments_are_all_there() -> None:
    for few in ([], [5], [5, 9], [1, 2, 3, 4, 5]):
        assert sorted(spread_moments(np.array(few, np.int64))) == few
