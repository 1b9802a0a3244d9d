"""What may happen in one tick: which sequences move together.

Sequences that look at the same inputs, or at each other in a ring, are tried together, in every combination
that some one state of the inputs allows. All others move one after another: whatever they do in the same tick
they can also do in ticks that follow, those first that look at the others.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from sequencer.check.explore.layout import Layout
from sequencer.check.explore.views import TIMEOUT, Option, Region, View, Views, Watch, common

MOST_TRIED = 10_000  # joint moves of one group in one configuration, larger groups counting for more

Outcome = tuple[tuple[View, Option], ...]  # who moves, by which way; the others of the group stay
Moves = tuple[tuple[int, int], ...]  # (sequence, phase entered)


@dataclass(frozen=True, slots=True)
class Joint:
    """What a group may do: `moves` with the outcome that shows each; whether all may stay.

    cut: whether not all was tried. together: outcomes in which several move at once.
    """

    moves: dict[Moves, Outcome]
    may_stay: bool
    cut: bool
    together: tuple[Outcome, ...]


class Mover:
    """Works out joint moves and keeps them. `steps` counts what was tried, the measure of the work done."""

    def __init__(self, views: Views, layout: Layout) -> None:
        self.views, self.layout = views, layout
        self.steps = 0
        self.cut = False
        self._kept: dict[tuple[int, ...], Joint] = {}
        self._last: tuple[int, list[Joint]] = (-1, [])  # asked for twice in a row
        self._held: list[object] = []  # keeps the views alive whose id is a key

    def joints(self, config: int, watch: Watch) -> list[Joint]:
        """Return what each group of sequences may do in a configuration while `anywhere` is quiet."""
        if config == self._last[0]:
            return self._last[1]
        view = self.views.view
        able = [v for s in range(len(self.layout.phases)) if (v := view(config, s)).options]
        # what `anywhere` must not see ties inputs together unless it is one box, where each stands for itself
        tied = watch.touched if len(watch.quiet) > 1 else 0
        joints = [self._joint(watch, group) for group in self._groups(able, tied)]
        self._last = config, joints
        return joints

    def _groups(self, able: list[View], tied: int) -> list[list[View]]:
        """Split views into groups; two are in one group if each leads to the other by looking or sharing.

        tied: variables of which each depends on all others.
        """
        count = len(able)
        if count < 2 or self.views.watch_reads_phases:
            return [able] if able else []
        reach = [0] * count
        for i, one in enumerate(able):
            for j, other in enumerate(able):
                if i == j:
                    continue
                shared = one.touched & (other.touched | (tied if other.touched & tied else 0))
                if shared or one.read >> other.sequence & 1:
                    reach[i] |= 1 << j
        if not any(reach):
            return [[view] for view in able]
        for k in range(count):
            behind, bit = reach[k], 1 << k
            if behind:
                for i in range(count):
                    if reach[i] & bit:
                        reach[i] |= behind
        groups: list[list[View]] = []
        left = (1 << count) - 1
        for i in range(count):
            if not left >> i & 1:
                continue
            members = [j for j in range(i, count) if j == i or (reach[i] >> j & 1 and reach[j] >> i & 1)]
            left &= ~sum(1 << j for j in members)
            groups.append([able[j] for j in members])
        return groups

    def _joint(self, watch: Watch, group: list[View]) -> Joint:
        key = (id(watch), *map(id, group))
        found = self._kept.get(key)
        if found is None:
            found = self._kept[key] = self._try_all(watch, group)
            self._held += [watch, *group]
        return found

    def _try_all(self, watch: Watch, group: list[View]) -> Joint:
        moves: dict[Moves, Outcome] = {}
        together: list[Outcome] = []
        may_stay = cut = False
        tried, weight = 0, 1 + len(group) // 8
        shared = self._shared(watch, group)
        ways = [
            (
                [(option, self.views.shadow(option.region, shared)) for option in reversed(view.options)],
                self.views.shadow(view.stay, shared),
            )
            for view in group
        ]
        todo: list[tuple[int, Region, Outcome]] = [(0, self.views.shadow(watch.quiet, shared), ())]
        while todo:
            at, region, outcome = todo.pop()
            if at == len(group):
                may_stay = may_stay or not outcome
                if outcome:
                    moves.setdefault(tuple((v.sequence, o.to) for v, o in outcome), outcome)
                    if len(outcome) > 1:
                        together.append(outcome)
                continue
            options, staying = ways[at]
            tried += weight * (1 + len(region) * len(options) // 4)
            if tried > MOST_TRIED:
                cut = self.cut = True
                break
            view = group[at]
            for option, shadow in options:
                both = common(region, shadow)
                if both:
                    todo.append((at + 1, both, (*outcome, (view, option))))
            stay = common(region, staying)
            if stay:
                todo.append((at + 1, stay, outcome))
        self.steps += tried
        return Joint(moves, may_stay, cut, tuple(together))

    @staticmethod
    def _shared(watch: Watch, group: list[View]) -> int:
        """Return the variables on which more than one of a group, or one and `anywhere`, depend."""
        seen = shared = 0
        for touched in (watch.touched, *(view.touched for view in group)):
            shared |= seen & touched
            seen |= touched
        return shared

    def successors(
        self, config: int, *, faultless: bool = False, patient: bool = False
    ) -> Iterator[tuple[int, Moves]]:
        """Yield the configurations that the sequences' own ways lead to, with the moves.

        faultless: leave out what a timeout has part in. patient: where one must move at once, leave out what
        takes longer than a tick.
        """
        joints = self.joints(config, self.views.watch(config))
        if faultless:
            joints = [_without_timeouts(joint) for joint in joints]
        forced = [joint for joint in joints if not joint.may_stay]
        if patient and forced:
            joints = [self._at_once(joint) for joint in joints]
            forced = [joint for joint in joints if not joint.may_stay]
        if forced and any(not joint.moves for joint in forced):
            return  # `anywhere` is never quiet here
        for joint in joints:
            others = [other for other in forced if other is not joint]
            for moves in joint.moves:
                for more in _products(others, ()):
                    after = self._after(config, moves + more)
                    yield after, moves + more
                    if len(joints) > 1 and self._must_move_on(after, moves):
                        rest = [other for other in joints if other is not joint]
                        for further in _products(rest, (), may_stay=True):
                            yield self._after(config, moves + further), moves + further

    def _at_once(self, joint: Joint) -> Joint:
        moves = {
            m: o for m, o in joint.moves.items() if not any(map(self.views.is_slow, *zip(*o, strict=True)))
        }
        return replace(joint, moves=moves)

    def _after(self, config: int, moves: Moves) -> int:
        for sequence, to in moves:
            config = self.layout.enter(config, sequence, to)
        return config

    def _must_move_on(self, after: int, moves: Moves) -> bool:
        """Tell whether one that has just moved can't stay where it is: then others can't follow it later."""
        flags = self.views.may_have_to_move
        return any(flags[s][to] and not self.views.view(after, s).stay for s, to in moves)


def _without_timeouts(joint: Joint) -> Joint:
    moves = {m: o for m, o in joint.moves.items() if all(option.number != TIMEOUT for _, option in o)}
    return replace(joint, moves=moves)


def _products(joints: list[Joint], so_far: Moves, *, may_stay: bool = False) -> Iterator[Moves]:
    if not joints:
        yield so_far
        return
    first, rest = joints[0], joints[1:]
    if may_stay and first.may_stay:
        yield from _products(rest, so_far, may_stay=True)
    for moves in first.moves:
        yield from _products(rest, so_far + moves, may_stay=may_stay)
