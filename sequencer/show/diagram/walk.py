"""How a sequence is read: the order of its phases, what becomes an arrow, and where each phase goes.

Phases are numbered as in the plan. The walk is followed along first guards; where it comes back to one of
its own phases it closes to a ring, which is drawn down one column and up the next. An arrow to a place
that many others lead to as well is not drawn but written on the card it comes from, so that the picture stays
readable at thirty phases.
"""

import math
from collections import Counter
from dataclasses import dataclass

from sequencer.plan.tables import Plan, Sequence

MANY = 2  # more arrows than this from elsewhere into one phase are written, not drawn
MANY_FAULTS = 1  # the same for timeouts: nearly always they all go to the stop phase
ROWS = 8  # of one column at most, unless that would make the page wider than high
FLATNESS = 0.6  # columns to rows of a square page
ONE_COLUMN = 4  # a ring of so few phases stays in one column


@dataclass(frozen=True, slots=True)
class Walk:
    """The order and the arrows of one sequence.

    lead: phases before the ring, in order. ring: phases of the ring (or the rest of a walk that never comes
    back), in order. aside: all others, stop phases among them. columns: the ring, folded; every second
    column is read upwards. closed: the last one of the ring leads to its first.
    drawn_exits: (phase, index of exit), drawn_timeouts: phases; what is not there is written on the card.
    """

    lead: tuple[int, ...]
    ring: tuple[int, ...]
    aside: tuple[int, ...]
    columns: tuple[tuple[int, ...], ...]
    closed: bool
    drawn_exits: frozenset[tuple[int, int]]
    drawn_timeouts: frozenset[int]

    def follows(self, a: int, b: int) -> bool:
        """Tell whether b is the next phase after a in the walk."""
        order = self.lead + self.ring
        here = order.index(a) if a in order else -1
        if here < 0:
            return False
        if here + 1 < len(order):
            return order[here + 1] == b
        return self.closed and b == self.ring[0]


def walk_of(plan: Plan, sequence: int) -> Walk:
    """Put one sequence in walking order and decide which of its exits and timeouts are drawn as arrows."""
    table = plan.sequences[sequence]
    chain, back_to = _chain(table)
    lead, ring = (chain[:back_to], chain[back_to:]) if back_to is not None else ((), chain)
    aside = tuple(i for i in range(len(table.phases)) if i not in set(chain))
    bare = Walk(lead, ring, aside, _fold(ring), back_to is not None, frozenset(), frozenset())
    exits, timeouts = _drawn(table, bare)
    return Walk(lead, ring, aside, bare.columns, bare.closed, exits, timeouts)


def _chain(table: Sequence) -> tuple[tuple[int, ...], int | None]:
    """Follow first guards from the first phase; return the phases and where the last one leads back to."""
    chain = [0]
    while True:
        here = table.phases[chain[-1]]
        forward = [e.to for e in here.exits if e.to not in chain and table.phases[e.to].stop is None]
        back = [e.to for e in here.exits if e.to in chain and e.to != chain[-1]]
        if forward:
            chain.append(forward[0])
        else:
            return tuple(chain), chain.index(back[0]) if back else None


def _fold(ring: tuple[int, ...]) -> tuple[tuple[int, ...], ...]:
    """Cut a ring into an even number of columns of nearly equal length, the longer ones first."""
    if len(ring) <= ONE_COLUMN:
        return (ring,)
    rows = max(ROWS, math.ceil(math.sqrt(len(ring) / FLATNESS)))
    count = 2 * -(-len(ring) // (2 * rows))
    short, longer = divmod(len(ring), count)
    columns, start = [], 0
    for c in range(count):
        size = short + (1 if c < longer else 0)
        columns.append(ring[start : start + size])
        start += size
    return tuple(columns)


def _drawn(table: Sequence, walk: Walk) -> tuple[frozenset[tuple[int, int]], frozenset[int]]:
    far: Counter[int] = Counter()
    for i, phase in enumerate(table.phases):
        far.update({e.to for e in phase.exits if e.to != i and not walk.follows(i, e.to)})
    faults = Counter(p.timeout.to for p in table.phases if p.timeout)
    exits = {
        (i, k)
        for i, phase in enumerate(table.phases)
        for k, leave in enumerate(phase.exits)
        if leave.to != i and (walk.follows(i, leave.to) or far[leave.to] <= MANY)
    }
    timeouts = {
        i
        for i, p in enumerate(table.phases)
        if p.timeout and p.timeout.to != i and faults[p.timeout.to] <= MANY_FAULTS
    }
    return frozenset(exits), frozenset(timeouts)
