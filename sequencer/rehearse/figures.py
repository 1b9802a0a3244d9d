"""A rehearsal in a few figures: steps, clearance, step time, support margin."""

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sequencer.trace.truth import truth_columns
from sequencer.trace.write import Beside

SHORTEST_STEP_MS = 200  # a foot that is off the floor for less has not made a step
BOUNCE_MS = 50  # a touch that is shorter does not end a step
LOW_SHARE = 0.05


@dataclass(frozen=True, slots=True)
class FootSteps:
    """The steps of one foot: when it left the floor and came back, ms, and how high it was at most, mm."""

    foot: str
    left_ms: tuple[int, ...]
    back_ms: tuple[int, ...]
    clearance_mm: tuple[float, ...]

    @property
    def mean_clearance_mm(self) -> float | None:
        """The mean of the steps, None without any."""
        return float(np.mean(self.clearance_mm)) if self.clearance_mm else None


@dataclass(frozen=True, slots=True)
class Figures:
    """What a rehearsal came to.

    step_ms: mean time from one step of any foot to the next; None with less than two.
    low_margin_mm, usual_margin_mm: support margin while one foot alone stands, below which it was 5 % of that
    time, and the median; None if that never was.
    """

    feet: tuple[FootSteps, ...]
    step_ms: float | None
    low_margin_mm: float | None
    usual_margin_mm: float | None

    @property
    def steps(self) -> int:
        """The steps of all feet."""
        return sum(len(foot.left_ms) for foot in self.feet)


def figures(truth: Beside, tick_ms: int) -> Figures:
    """Sum up the columns of truth, one row a tick."""
    columns = truth_columns(truth.names)
    standing = {name: truth.values[:, at] > 0 for name, at in columns.contact.items()}
    feet = tuple(
        _steps(name, stands, truth.values[:, columns.clearance[name]], tick_ms)
        for name, stands in standing.items()
    )
    starts = sorted(at for foot in feet for at in foot.left_ms)
    low = usual = None
    if columns.support_margin is not None and standing:
        alone = np.sum(list(standing.values()), axis=0) == 1
        margins = truth.values[alone, columns.support_margin]
        margins = margins[~np.isnan(margins)]
        if len(margins):
            low, usual = float(np.quantile(margins, LOW_SHARE)), float(np.median(margins))
    return Figures(feet, float(np.mean(np.diff(starts))) if len(starts) > 1 else None, low, usual)


def _steps(name: str, stands: NDArray[np.bool_], clearance: NDArray[np.float32], tick_ms: int) -> FootSteps:
    """Find the times in which a foot was off the floor; one that the run begins or ends with is left out."""
    changes = np.flatnonzero(np.diff(stands.astype(np.int8))) + 1
    edges = [0, *changes.tolist(), len(stands)]
    off: list[list[int]] = []
    for begin, end in itertools.pairwise(edges):
        if begin == end or stands[begin]:
            continue
        if off and (begin - off[-1][1]) * tick_ms < BOUNCE_MS:
            off[-1][1] = end
        else:
            off.append([begin, end])
    whole = [
        (begin, end)
        for begin, end in off
        if begin > 0 and end < len(stands) and (end - begin) * tick_ms >= SHORTEST_STEP_MS
    ]
    return FootSteps(
        name,
        tuple(begin * tick_ms for begin, _ in whole),
        tuple(end * tick_ms for _, end in whole),
        tuple(float(clearance[begin:end].max()) for begin, end in whole),
    )
