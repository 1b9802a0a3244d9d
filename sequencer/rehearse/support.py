"""The area on which feet stand, and how far a point is inside."""

import math

import numpy as np
from numpy.typing import NDArray

_SAME_M = 1e-9


def outline(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give the corners of the convex hull of points in a plane, float64 (n, 2), counter-clockwise.

    Andrew's monotone chain (A. M. Andrew, Information Processing Letters 9(5), 1979).
    """
    ordered = sorted({(float(x), float(y)) for x, y in points})
    if len(ordered) < 3:
        return np.array(ordered)
    lower, upper = _chain(ordered), _chain(ordered[::-1])
    return np.array(lower[:-1] + upper[:-1])


def _chain(ordered: list[tuple[float, float]]) -> list[tuple[float, float]]:
    chain: list[tuple[float, float]] = []
    for x, y in ordered:
        while len(chain) >= 2:
            (ax, ay), (bx, by) = chain[-2], chain[-1]
            if (bx - ax) * (y - ay) - (by - ay) * (x - ax) > _SAME_M**2:
                break
            chain.pop()
        chain.append((x, y))
    return chain


def margin(points: NDArray[np.float64], at: NDArray[np.float64]) -> float:
    """Give how far `at` is from the edge of the points' hull: > 0 inside, < 0 outside.

    Of a hull without an area, a line or a point, nothing is inside: minus the distance.
    """
    corners = outline(points)
    if len(corners) == 1:
        return -math.dist(corners[0], at)
    ends = np.roll(corners, -1, axis=0)
    along = ends - corners
    lengths = np.linalg.norm(along, axis=1)
    to = at - corners
    share = np.clip((to * along).sum(axis=1) / lengths**2, 0, 1)
    nearest = float(np.linalg.norm(to - share[:, None] * along, axis=1).min())
    if len(corners) == 2:
        return -nearest
    inside = bool((along[:, 0] * to[:, 1] - along[:, 1] * to[:, 0] >= 0).all())
    return nearest if inside else -nearest
