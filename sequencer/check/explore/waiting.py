"""Who waits for whom: sequences none of which can go on as long as the others stay where they are."""

from sequencer.check.explore.residual import Known
from sequencer.check.explore.search import Search

Stand = tuple[tuple[int, int], ...]  # (sequence, phase), in the order of the sequences


class Waits:
    """Finds the rings of sequences that wait for each other.

    with_timeouts: a timeout helps a sequence on; without, only its guards count.
    """

    def __init__(self, search: Search, *, with_timeouts: bool) -> None:
        self.search, self.with_timeouts = search, with_timeouts
        self._stays: dict[Stand, Stand] = {}
        self._able: dict[tuple[int, int, Stand], bool] = {}

    def rings(self, config: int) -> list[Stand]:
        """Return each group of sequences that can never go on by itself in a configuration.

        Whatever the other sequences, the counters that others count, and the sensors do.
        """
        layout, views = self.search.layout, self.search.views
        phases = layout.phases_of(config)
        stuck = tuple((s, p) for s, p in enumerate(phases) if views.view(config, s).stuck)
        held = self._stay(self._without_escapes(stuck))
        alone = {member for member in held if self._stay((member,))}  # told as a guard that is never true
        rings = []
        for group in self._rings(tuple(m for m in held if m not in alone)):
            if len(group) > 1 and self._stay(group) == group:
                rings.append(group)
        return rings

    def _without_escapes(self, stand: Stand) -> Stand:
        if not self.with_timeouts:
            return stand
        rows = self.search.plan.sequences
        return tuple((s, p) for s, p in stand if rows[s].phases[p].timeout is None)

    def _stay(self, stand: Stand) -> Stand:
        """Return those of a group that can't go on as long as all that are returned stay."""
        if stand not in self._stays:
            left = stand
            while True:
                held = tuple(member for member in left if not self._can_leave(*member, left))
                if held == left:
                    break
                left = held
            self._stays[stand] = left
        return self._stays[stand]

    def _can_leave(self, sequence: int, phase: int, stand: Stand) -> bool:
        key = (sequence, phase, stand)
        if key not in self._able:
            view = self.search.views.view_with(self._known(stand), sequence, phase)
            self._able[key] = not view.stuck
        return self._able[key]

    def _known(self, stand: Stand) -> Known:
        plan = self.search.plan
        at = dict(stand)
        phases = tuple(at.get(s) for s in range(len(plan.sequences)))
        return Known(phases, (None,) * len(plan.counters), (None,) * len(plan.setpoints))

    def _rings(self, stand: Stand) -> list[Stand]:
        """Split a group into those that look at each other in a ring, directly or by way of others."""
        views = self.search.views
        reach = {s: views.sequences_read(s, p) for s, p in stand}
        members = {s for s, _ in stand}
        for k in members:
            for i in members:
                if reach[i] >> k & 1:
                    reach[i] |= reach[k]
        groups: list[Stand] = []
        seen: set[int] = set()
        for s, _ in stand:
            if s not in seen:
                ring = {j for j in members if j == s or (reach[s] >> j & 1 and reach[j] >> s & 1)}
                seen |= ring
                groups.append(tuple(member for member in stand if member[0] in ring))
        return groups
