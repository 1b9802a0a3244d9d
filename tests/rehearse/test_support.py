"""The area on which feet stand, with scipy's hull (Qhull) as the judge."""

import math

import numpy as np
import pytest
from scipy.spatial import ConvexHull

from sequencer.rehearse.support import margin, outline


@pytest.mark.parametrize("seed", range(20))
def test_the_outline_and_the_margin_are_those_of_qhull(seed: int) -> None:
    random = np.random.default_rng(seed)
    points = random.normal(size=(random.integers(3, 30), 2))
    hull = ConvexHull(points)
    ours = [(float(x), float(y)) for x, y in points]
    assert sorted(outline(ours)) == sorted(ours[i] for i in hull.vertices)
    for x, y in random.normal(size=(20, 2)):
        signed = float((hull.equations[:, :2] @ (x, y) + hull.equations[:, 2]).max())
        found = margin(ours, (x, y))
        assert (found > 0) == (signed < 0)
        if signed < 0:
            assert found == pytest.approx(-signed)
        else:
            assert -found >= signed - 1e-12  # the nearest point may be a corner, which is further


def test_outside_the_distance_to_the_nearest_corner_or_side_counts() -> None:
    square = [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0), (0.5, 0.5)]
    assert margin(square, (0.5, 0.25)) == 0.25
    assert margin(square, (0.5, -0.25)) == -0.25
    assert margin(square, (2.0, 2.0)) == pytest.approx(-math.sqrt(2))


def test_nothing_is_inside_a_line_or_a_point() -> None:
    assert margin([(0.0, 0.0), (1.0, 0.0)], (0.5, 0.0)) == 0
    assert margin([(0.0, 0.0), (1.0, 0.0), (0.5, 0.0)], (0.5, 0.1)) == pytest.approx(-0.1)
    assert margin([(0.0, 0.0)], (0.3, 0.4)) == pytest.approx(-0.5)
