"""The ruler itself: pairs, recall, precision and percentiles against values worked out by hand."""

import math

import pytest
from support.segmentation import joined, match, table, within


def test_each_event_takes_one_partner_and_the_closest_pair_comes_first() -> None:
    m = match([1.0, 2.0, 3.0], [1.02, 1.98, 2.03, 3.2], 0.05)
    assert m.late_s == pytest.approx([0.02, -0.02])
    assert m.missed == (3.0,)
    assert m.extra == (2.03, 3.2)
    assert m.recall == pytest.approx(2 / 3)
    assert m.precision == pytest.approx(2 / 4)


def test_median_and_percentile_are_those_of_the_sizes() -> None:
    m = match([1, 2, 3, 4, 5], [1.010, 1.980, 3.030, 3.960, 5.050], 0.1)
    assert m.median_ms == pytest.approx(30)
    assert m.p95_ms == pytest.approx(48)  # type 7: 0.95 * 4 = 3.8, so 40 + 0.8 * (50 - 40)
    assert m.worst_ms == pytest.approx(50)


def test_nothing_found_is_no_recall_and_no_timing() -> None:
    m = match([1.0], [], 0.1)
    assert m.recall == 0
    assert math.isnan(m.precision)
    assert math.isnan(m.median_ms)


def test_an_event_just_outside_the_tolerance_is_missed_and_extra() -> None:
    m = match([1.0], [1.0201], 0.02)
    assert (m.missed, m.extra) == ((1.0,), (1.0201,))


def test_two_feet_are_counted_together() -> None:
    both = joined([match([1.0], [1.01], 0.1), match([2.0], [2.5], 0.1)])
    assert (both.found, both.referenced) == (1, 2)
    assert both.extra == (2.5,)
    assert "1/2" in table("feet", [("both", both)])


def test_what_lies_outside_the_stretch_is_left_out() -> None:
    assert within([0.5, 1.0, 1.5, 2.0, 2.5], 1.0, 2.0).tolist() == [1.0, 1.5, 2.0]
