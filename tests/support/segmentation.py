"""Holding events that a gait file found in a recording against reference events.

Each reference event takes at most one found event and the other way round, the closest pairs first, and
only pairs within the tolerance. With the tolerance below half the time between two events of a kind no
other pairing is possible. Recall is the share of reference events that were found, precision the share of
found events that have a reference. The timing error is found minus reference, so late is positive; its
median and 95th percentile are those of its size (linear interpolation: type 7 of Hyndman & Fan, "Sample
quantiles in statistical packages", The American Statistician 50, 1996, which is numpy's default).
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray


@dataclass(frozen=True, slots=True)
class Match:
    """What was found of a reference.

    late_s: timing errors of the pairs, in the order of the reference. missed: reference events without a
    partner. extra: found events without one. All in seconds.
    """

    late_s: NDArray[np.float64]
    missed: tuple[float, ...]
    extra: tuple[float, ...]

    @property
    def found(self) -> int:
        return len(self.late_s)

    @property
    def referenced(self) -> int:
        return self.found + len(self.missed)

    @property
    def recall(self) -> float:
        return self.found / self.referenced if self.referenced else float("nan")

    @property
    def precision(self) -> float:
        claimed = self.found + len(self.extra)
        return self.found / claimed if claimed else float("nan")

    @property
    def median_ms(self) -> float:
        return self._percentile_ms(50)

    @property
    def p95_ms(self) -> float:
        return self._percentile_ms(95)

    @property
    def worst_ms(self) -> float:
        return self._percentile_ms(100)

    def _percentile_ms(self, share: float) -> float:
        return 1000 * float(np.percentile(np.abs(self.late_s), share)) if self.found else float("nan")


def match(reference: ArrayLike, found: ArrayLike, tolerance_s: float) -> Match:
    """Pair found times with reference times, both in seconds."""
    wanted, have = np.sort(np.asarray(reference, float)), np.sort(np.asarray(found, float))
    apart = np.abs(have[None, :] - wanted[:, None])
    near = np.argwhere(apart <= tolerance_s)
    partner: dict[int, int] = {}
    taken: set[int] = set()
    for i, j in sorted(near.tolist(), key=lambda pair: (apart[pair[0], pair[1]], pair)):
        if i not in partner and j not in taken:
            partner[i] = j
            taken.add(j)
    return Match(
        late_s=np.array([have[partner[i]] - wanted[i] for i in sorted(partner)]),
        missed=tuple(float(wanted[i]) for i in range(len(wanted)) if i not in partner),
        extra=tuple(float(have[j]) for j in range(len(have)) if j not in taken),
    )


def joined(matches: Iterable[Match]) -> Match:
    """Put the matches of several feet together."""
    several = list(matches)
    return Match(
        late_s=np.concatenate([m.late_s for m in several]),
        missed=tuple(time for m in several for time in m.missed),
        extra=tuple(time for m in several for time in m.extra),
    )


def within(times: ArrayLike, first: float, last: float) -> NDArray[np.float64]:
    """Keep the times of a stretch; events outside of what is referenced are neither right nor wrong."""
    kept = np.asarray(times, float)
    return kept[(kept >= first) & (kept <= last)]


def table(title: str, rows: Sequence[tuple[str, Match]]) -> str:
    """Print matches as a table."""
    head = f"{title:<46}{'found':>9}{'recall':>8}{'precision':>11}{'median':>9}{'95th':>9}{'worst':>9}"
    lines = [head]
    for name, m in rows:
        count = f"{m.found}/{m.referenced}"
        times = "".join(f"{value:>6.1f} ms" for value in (m.median_ms, m.p95_ms, m.worst_ms))
        lines.append(f"{name:<46}{count:>9}{m.recall:>8.3f}{m.precision:>11.3f}{times}")
    return "\n".join(lines)
