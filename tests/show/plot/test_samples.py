"""Thinning for a plot: no spike is lost, no hole is closed, few points are left."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from sequencer.show.plot.samples import Drawn, Samples
from sequencer.show.report import document as d
from sequencer.show.report.columns import ColumnHead
from sequencer.show.report.pack import pack
from sequencer.show.report.thin import Keeper, choose

EMPTY = pack(np.zeros(0), "u1")


def drawn(
    values: np.ndarray,
    pixels: int,
    from_ms: float = 0.0,
    to_ms: float | None = None,
    moments: tuple[int, ...] = (),
) -> Drawn:
    """What a plot of a run of these numbers, a tick of 1 ms each, draws."""
    ticks = len(values)
    kept = choose(ticks, 1, moments, 1000)
    keeper = Keeper([ColumnHead("x", "", "signal")], kept, ticks)
    for start in range(0, ticks, 65_536):
        part = values[start : start + 65_536].astype(np.float32)
        keeper.add([part], np.arange(start, start + len(part), dtype=np.float64))
    moves = d.Moves(*[EMPTY] * 7, [], EMPTY, EMPTY, [], EMPTY)
    run = d.Recorded(
        "", "", False, ticks, 0, ticks - 1, kept, keeper.clock(1), keeper.columns(), [], [], moves,
        None, None, [], [], [], None, [], [], [],
    )  # fmt: skip
    samples = Samples(run, from_ms, ticks - 1 if to_ms is None else to_ms, pixels)
    return samples.column(run.columns[0])


def test_a_short_run_is_drawn_whole() -> None:
    values = np.sin(np.arange(500))
    got = drawn(values, 1000)
    assert got.whole
    assert got.values == pytest.approx(values, abs=1e-6)
    assert got.at_ms.tolist() == list(range(500))


@pytest.mark.parametrize("ticks", [100_000, 6_000_000], ids=["kept whole", "least and greatest kept"])
def test_the_narrowest_spike_is_drawn_up_and_down(ticks: int) -> None:
    values = np.zeros(ticks, np.float32)
    values[ticks // 3], values[ticks // 2] = 7, -9
    got = drawn(values, 1000)
    assert not got.whole
    assert len(got.values) < 5 * 1000 or ticks > 5_000_000
    assert (np.nanmax(got.values), np.nanmin(got.values)) == (7, -9)
    width_ms = ticks / 1000
    assert abs(got.at_ms[np.nanargmax(got.values)] - ticks // 3) <= 2 * width_ms
    assert abs(got.at_ms[np.nanargmin(got.values)] - ticks // 2) <= 2 * width_ms


@settings(max_examples=60, deadline=None)
@given(
    arrays.arrays(
        np.float32,
        st.integers(200, 900),
        elements=st.one_of(st.floats(-10, 10, width=32), st.just(float("nan"))),
    ),
    st.integers(3, 20),
)
def test_each_pixel_keeps_its_least_and_greatest_number_and_its_hole(values: np.ndarray, pixels: int) -> None:
    """numpy's own least and greatest of each part are the reference."""
    got = drawn(values, pixels)
    edges = np.linspace(0, len(values), pixels + 1).astype(int)
    for first, last in itertools.pairwise(edges):
        part = values[first:last]
        mine = got.values[(got.at_ms >= first) & (got.at_ms < last)]
        assert np.isnan(part).any() == np.isnan(mine).any()
        if not np.isnan(part).all():
            assert np.nanmin(mine) == np.nanmin(part)
            assert np.nanmax(mine) == np.nanmax(part)
    assert (np.diff(got.at_ms) > 0).all()


def test_what_is_outside_of_the_plots_time_is_left_out_but_for_one_sample_on_each_side() -> None:
    got = drawn(np.arange(1000.0), 100, 200, 210)
    assert got.at_ms.tolist() == list(range(199, 212))


def test_in_a_long_run_the_samples_near_what_matters_are_drawn_one_by_one() -> None:
    values = np.arange(6_000_000) % 100
    got = drawn(values, 1000, 2_999_900, 3_000_100, moments=(3_000_000,))
    assert got.whole
    assert got.at_ms[1:-1].tolist() == list(range(2_999_900, 3_000_101))
    assert got.values.tolist() == [float(x % 100) for x in range(2_999_899, 3_000_102)]


def test_the_time_that_is_looked_at_is_kept_whole_also_where_nothing_happens() -> None:
    assert choose(6_000_000, 1, [], 1000, (400_000, 500_000)).windows == [
        (0, 1001),
        (400_000, 500_000),
        (5_998_999, 6_000_000),
    ]
    assert len(choose(6_000_000, 1, [], 1000, (0, 6_000_000)).windows) == 2
