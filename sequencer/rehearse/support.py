"""The area on which feet stand, and how far a point is inside. In plain numbers: every tick asks for it."""

import math
from collections.abc import Iterable

Point = tuple[float, float]
_NO_AREA = 1e-18  # m2: points nearer to a line than rounding are on it


def outline(points: Iterable[Point]) -> list[Point]:
    """Give the corners of the convex hull of points in a plane, counter-clockwise.

    Andrew's monotone chain (A. M. Andrew, Information Processing Letters 9(5), 1979; from memory).
    """
    ordered = sorted(set(points))
    if len(ordered) < 3:
        return ordered
    lower, upper = _chain(ordered), _chain(ordered[::-1])
    return lower[:-1] + upper[:-1]


def _chain(ordered: list[Point]) -> list[Point]:
    chain: list[Point] = []
    for x, y in ordered:
        while len(chain) >= 2:
            (ax, ay), (bx, by) = chain[-2], chain[-1]
            if (bx - ax) * (y - ay) - (by - ay) * (x - ax) > _NO_AREA:
                break
            chain.pop()
        chain.append((x, y))
    return chain


def margin(points: Iterable[Point], at: Point) -> float:
    """Give how far `at` is from the edge of the points' hull: > 0 inside, < 0 outside.

    Of a hull without an area, a line or a point, nothing is inside: minus the distance.
    """
    corners = outline(points)
    if len(corners) == 1:
        return -math.dist(corners[0], at)
    inside, nearest = len(corners) > 2, math.inf
    ax, ay = corners[-1]
    for bx, by in corners:
        along_x, along_y, to_x, to_y = bx - ax, by - ay, at[0] - ax, at[1] - ay
        inside = inside and along_x * to_y - along_y * to_x >= 0
        share = (to_x * along_x + to_y * along_y) / (along_x * along_x + along_y * along_y)
        share = min(1.0, max(0.0, share))
        nearest = min(nearest, math.hypot(to_x - share * along_x, to_y - share * along_y))
        ax, ay = bx, by
    return nearest if inside else -nearest
