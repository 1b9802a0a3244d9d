"""Sets of situations as boxes: for each variable an interval or a few choices.

A guard over comparisons of single variables with fixed thresholds is true in a finite union of boxes, so
"can both be true", "is it always true" and "does one cover the other" are answered exactly by cutting and
subtracting boxes. What does not fit (too many boxes, thresholds that move together) goes to the solver.
"""

import math
from collections.abc import Iterator
from typing import NamedTuple

# What varies: ("signal", i), ("counter", i), ("event", i), ("switch", i), ("lost", signal), ("remote", 0),
# ("phase", sequence), ("aim", setpoint): which target and from which side, ("latch", n).
Var = tuple[str, int]


class Interval(NamedTuple):
    """Numbers from `low` to `high`, each end belonging to it or not. Empty ones are never kept."""

    low: float
    low_open: bool
    high: float
    high_open: bool


Domain = Interval | int  # an int is a bit mask of choices: bit k says that choice k is possible
Box = dict[Var, Domain]  # a variable that is not named is free

NO, YES = 1, 2  # masks of a truth: only false, only true
EVERY_NUMBER = Interval(-math.inf, True, math.inf, True)


class TooManyBoxesError(Exception):
    """The answer would need more boxes than it is worth; ask the solver."""


MOST_BOXES = 128


def at_least(x: float) -> Interval:
    """Return the numbers from x on."""
    return Interval(x, False, math.inf, True)


def above(x: float) -> Interval:
    """Return the numbers greater than x."""
    return Interval(x, True, math.inf, True)


def at_most(x: float) -> Interval:
    """Return the numbers up to x."""
    return Interval(-math.inf, True, x, False)


def below(x: float) -> Interval:
    """Return the numbers less than x."""
    return Interval(-math.inf, True, x, True)


def closed(low: float, high: float) -> Interval:
    """Return the numbers from low to high, both included."""
    return Interval(low, False, high, False)


def is_empty(domain: Domain) -> bool:
    """Tell whether nothing is left."""
    if isinstance(domain, int):
        return domain == 0
    low, low_open, high, high_open = domain
    return low > high or (low == high and (low_open or high_open))


def whole(domain: Interval) -> Interval:
    """Shrink an interval to the whole numbers in it (counters)."""
    low = math.floor(domain.low) + 1 if domain.low_open else math.ceil(domain.low)
    high = math.ceil(domain.high) - 1 if domain.high_open else math.floor(domain.high)
    return closed(low, high)


def meet(a: Domain, b: Domain) -> Domain:
    """Return what two domains of one variable have in common."""
    if isinstance(a, int) or isinstance(b, int):
        assert isinstance(a, int) and isinstance(b, int)
        return a & b
    if a.low == b.low:
        low, low_open = a.low, a.low_open or b.low_open
    else:
        low, low_open = (a.low, a.low_open) if a.low > b.low else (b.low, b.low_open)
    if a.high == b.high:
        high, high_open = a.high, a.high_open or b.high_open
    else:
        high, high_open = (a.high, a.high_open) if a.high < b.high else (b.high, b.high_open)
    return Interval(low, low_open, high, high_open)


def without(a: Domain, b: Domain) -> Iterator[Domain]:
    """Yield the parts of `a` that are not in `b`: at most two intervals, or one mask."""
    if isinstance(a, int) or isinstance(b, int):
        assert isinstance(a, int) and isinstance(b, int)
        pieces: tuple[Domain, ...] = (a & ~b,)
    else:
        left = Interval(-math.inf, True, b.low, not b.low_open)
        right = Interval(b.high, not b.high_open, math.inf, True)
        pieces = (meet(a, left), meet(a, right))
    for piece in pieces:
        if not is_empty(piece):
            yield piece


def meet_boxes(a: Box, b: Box) -> Box | None:
    """Return the common part of two boxes, or None if there is none."""
    if len(a) < len(b):
        a, b = b, a
    both = dict(a)
    for var, domain in b.items():
        mine = both.get(var)
        common = domain if mine is None else meet(mine, domain)
        if is_empty(common):
            return None
        both[var] = common
    return both


def meet_unions(a: list[Box], b: list[Box]) -> list[Box]:
    """Return the common part of two unions of boxes. Raises TooManyBoxesError."""
    result = []
    for one in a:
        for other in b:
            both = meet_boxes(one, other)
            if both is not None:
                result.append(both)
                if len(result) > MOST_BOXES:
                    raise TooManyBoxesError
    return result


def subtract(box: Box, hole: Box, full: dict[Var, Domain]) -> list[Box]:
    """Return boxes that make up `box` without `hole`; `full` holds each variable's whole domain."""
    if meet_boxes(box, hole) is None:
        return [box]
    rest = []
    inside = dict(box)
    for var, domain in hole.items():
        mine = inside.get(var, full[var])
        for raw in without(mine, domain):
            piece = whole(raw) if var[0] == "counter" and isinstance(raw, Interval) else raw
            if not is_empty(piece):
                rest.append({**inside, var: piece})
        inside[var] = meet(mine, domain)
    return rest


def subtract_unions(a: list[Box], holes: list[Box], full: dict[Var, Domain]) -> list[Box]:
    """Return boxes that make up the union `a` without any of `holes`. Raises TooManyBoxesError."""
    for hole in holes:
        a = [piece for box in a for piece in subtract(box, hole, full)]
        if len(a) > MOST_BOXES:
            raise TooManyBoxesError
    return a


def nice_number(domain: Interval) -> float:
    """Pick a number that reads well: as few digits as the interval allows, as close to 0 as that leaves.

    >>> nice_number(Interval(13, False, 45, False)), nice_number(Interval(2.0, True, 2.5, True))
    (20.0, 2.1)
    """
    size = max(abs(domain.low), abs(domain.high))
    coarsest = math.floor(math.log10(size)) + 1 if size else 0
    for exponent in range(coarsest, coarsest - 10, -1):
        for number in _round_numbers(domain, exponent):
            if not is_empty(meet(domain, closed(number, number))):
                return number
    return domain.low if not domain.low_open else domain.high


def _round_numbers(domain: Interval, exponent: int) -> Iterator[float]:
    """Yield 0 and the multiples of 10**exponent next to either end, the end nearer to 0 first."""
    yield 0.0
    for end in sorted((domain.low, domain.high), key=abs):
        steps = round(end / 10.0**exponent)
        for near in (steps, steps + 1, steps - 1):
            yield float(f"{near}e{exponent}")
