"""From guard blocks to the tables of leaves and guards."""

from sequencer.base.places import Place
from sequencer.gait.fields import HoldText, LevelText
from sequencer.gait.gait_model import GuardBlock
from sequencer.gait.mirror import Mirror, turned
from sequencer.gait.nodes import Path
from sequencer.plan.compared import signals_compared
from sequencer.plan.context import Context
from sequencer.plan.tables import (
    Compare,
    CompareOp,
    Follow,
    Guard,
    Hold,
    InPhase,
    Leaf,
    Level,
    Lost,
    Node,
    OnEvent,
    OnSwitch,
    Remote,
    Setpoint,
    Signal,
)

REMOTE = "remote"
Pair = tuple[Level | None, Level | None]


class Slots:
    """Hands out latch and hold slots; a phase takes them again from where its sequence began."""

    def __init__(self) -> None:
        self.latches = 0
        self.holds = 0

    def latch(self) -> int:
        """Take the next latch slot."""
        self.latches += 1
        return self.latches - 1

    def hold(self) -> int:
        """Take the next hold slot."""
        self.holds += 1
        return self.holds - 1


class GuardTables:
    """Builds guards; `leaves` and `guards` grow as it goes."""

    def __init__(
        self,
        context: Context,
        signals: tuple[Signal, ...],
        setpoints: tuple[Setpoint, ...],
        remote: Remote | None,
        phases: dict[str, dict[str, int]],
    ) -> None:
        self.context = context
        self.signals = signals
        self.setpoints = setpoints
        self.remote = remote
        self.phases = phases  # of each sequence, name to index
        self.sequences = list(phases)
        self.leaves: list[Leaf] = []
        self.guards: list[Guard] = []
        self.slots = Slots()
        self.mirror: Mirror | None = None
        self.broken = False  # the guard that is being built has an error

    def build(
        self,
        block: GuardBlock,
        path: Path,
        hold: HoldText | None,
        hold_at: Place,
        mirror: Mirror | None = None,
    ) -> int:
        """Build a guard (its mirror image if `mirror` is given) and give its index."""
        self.mirror, self.broken = mirror, False
        nodes: list[Node] = []
        first = len(self.leaves)
        self._nodes(block, path, nodes)
        return self.finish(nodes, first, hold, hold_at, self.context.at(*path))

    def build_rule(
        self, parts: tuple[tuple[GuardBlock, Path] | None, tuple[GuardBlock, Path]], mirror: Mirror | None
    ) -> tuple[list[Node], int, int]:
        """Build ``while`` and not ``must``; returns the nodes and where ``must`` stands in them."""
        self.mirror, self.broken = mirror, False
        nodes: list[Node] = []
        condition, must = parts
        if condition is not None:
            self._nodes(condition[0], condition[1], nodes)
        start = len(nodes)
        self._nodes(must[0], must[1], nodes)
        end = len(nodes)
        nodes.append(Node("not", 1))
        if condition is not None:
            nodes.append(Node("all", 2))
        return nodes, start, end

    def finish(
        self, nodes: list[Node], first: int, hold: HoldText | None, hold_at: Place, place: Place
    ) -> int:
        """Enter a guard whose leaves begin at `first`."""
        leaves = tuple(range(first, len(self.leaves)))
        index = len(self.guards)
        self.guards.append(Guard(index, tuple(nodes), leaves, self._hold(hold, leaves, hold_at), place))
        return index

    def _hold(self, hold: HoldText | None, leaves: tuple[int, ...], place: Place) -> Hold | None:
        if hold is None:
            return None
        if hold.time is not None:
            ms = self.context.ms(hold.time, place)
            return Hold(self.slots.hold(), ms, None, ()) if ms else None
        signals = {x for i in leaves for x in signals_compared(self.leaves[i], self.setpoints)}
        if not signals and not self.broken:  # a broken guard says nothing about its hold
            self.context.error(
                "bad-hold",
                place,
                "a hold in samples needs a guard that compares a signal",
                expected="a time, such as 200 ms",
            )
        return Hold(self.slots.hold(), None, hold.samples, tuple(sorted(signals)))

    # nodes

    def _nodes(self, block: GuardBlock, path: Path, out: list[Node]) -> None:
        # depth is bounded by the reader, so recursion is safe
        kind = block.kind
        if kind in {"all", "any"}:
            children = block.all if kind == "all" else block.any
            assert children is not None
            for i, child in enumerate(children):
                self._nodes(child, (*path, kind, i), out)
            out.append(Node("all" if kind == "all" else "any", len(children)))
            return
        if kind == "not":
            assert block.not_ is not None
            self._nodes(block.not_, (*path, "not"), out)
            out.append(Node("not", 1))
            return
        leaf = self._leaf(kind, block, path)
        self.broken = self.broken or leaf is None
        out.append(Node("leaf", len(self.leaves)))
        # after an error something must stand here; the plan is not handed out then
        self.leaves.append(leaf or OnEvent(0, self.context.at(*path)))

    def _leaf(  # noqa: PLR0911 - one return for each kind reads best
        self, kind: str, block: GuardBlock, path: Path
    ) -> Leaf | None:
        place = self.context.at(*path)
        if kind == "broken":
            self.broken = True
            for what, name in block.names.items():
                self._judge_name(what, name, (*path, what))
            return None
        if kind == "signal":
            return self._signal(block, path, place)
        if kind == "counter":
            return self._counter(block, path, place)
        if kind in {"reached", "at_target"}:
            return self._follow(kind, block, path, place)
        if kind == "lost":
            return self._lost(block, path, place)
        if kind == "sequence":
            return self._in_phase(block, path, place)
        if kind == "event":
            event = self._find("event", block.event, (*path, "event"))
            return OnEvent(event, place) if event is not None else None
        switch = self._find("switch", block.switch, (*path, "switch"))
        if switch is None:
            return None
        return OnSwitch(switch, self.remote is not None and switch in self.remote.switches, place)

    def _judge_name(self, what: str, name: str, path: Path) -> None:
        """Look up a name of a guard that is broken otherwise, so that a second slip in it is told too."""
        if what == "lost" and name == REMOTE:
            return
        self._find(
            {"lost": "signal", "reached": "setpoint", "at_target": "setpoint"}.get(what, what), name, path
        )

    def _find(self, kind: str, name: str | None, path: Path) -> int | None:
        assert name is not None
        return self.context.find(
            kind, self.mirror.name(name) if self.mirror else name, self.context.at(*path)
        )

    def _signal(self, block: GuardBlock, path: Path, place: Place) -> Compare | None:
        assert block.signal is not None
        index = self._find("signal", block.signal, (*path, "signal"))
        if index is None:
            return None
        signal = self.signals[index]
        negate = self.mirror is not None and self.mirror.negates(signal.name)
        return self._compare(block, path, place, ("signal", index, signal.unit, negate))

    def _counter(self, block: GuardBlock, path: Path, place: Place) -> Compare | None:
        index = self._find("counter", block.counter, (*path, "counter"))
        return self._compare(block, path, place, ("counter", index, "", False)) if index is not None else None

    def _compare(
        self, block: GuardBlock, path: Path, place: Place, of: tuple[str, int, str, bool]
    ) -> Compare | None:
        source, index, unit, negate = of
        said = block.comparison
        op = turned(said) if negate else said
        levels = self._pair(getattr(block, said), (*path, said), unit, negate, said)
        release: Pair = (None, None)
        if block.release is not None:
            release = self._release(block.release, (*path, "release"), unit, negate, said)
            self._check_release(op, levels, release, self.context.at(*path, "release"))
        return Compare(
            op=_as_op(op),
            source="signal" if source == "signal" else "counter",
            index=index,
            low=levels[0],
            high=levels[1],
            release_low=release[0],
            release_high=release[1],
            latch=self.slots.latch() if block.release is not None else None,
            unit=unit,
            place=place,
        )

    def _pair(self, value: object, path: Path, unit: str, negate: bool, said: str) -> Pair:
        """Sort one or two levels into (low, high), the other way round when negated."""
        if isinstance(value, LevelText):
            level = self._level(value, path, unit, negate)
            low_side = (said in {"at_least", "above"}) != negate
            return (level, None) if low_side else (None, level)
        assert isinstance(value, tuple)
        low, high = (self._level(v, (*path, i), unit, negate) for i, v in enumerate(value))
        if negate:
            low, high = high, low
        if low and high and self.context.value_of(low) > self.context.value_of(high):
            place = self.context.at(*path)
            self.context.error(
                "out-of-span", place, "the lower bound is above the upper one", expected="[low, high]"
            )
        return low, high

    def _release(self, value: tuple[LevelText, ...], path: Path, unit: str, negate: bool, said: str) -> Pair:
        wanted = 2 if said in {"within", "outside"} else 1
        if len(value) != wanted:
            expected = "[low, high]" if wanted == 2 else "one level"
            place = self.context.at(*path)
            self.context.error(
                "wrong-type", place, f"the release of {said} needs {expected}", expected=expected
            )
            return None, None
        return self._pair(value if wanted == 2 else value[0], path, unit, negate, said)

    def _check_release(self, op: str, levels: Pair, release: Pair, place: Place) -> None:
        """Check that a release is easier to meet than the threshold, with the parameters as they stand."""
        narrower = op == "outside"
        for level, other, upwards in (
            (levels[0], release[0], narrower),
            (levels[1], release[1], not narrower),
        ):
            if level is None or other is None:
                continue
            away = self.context.value_of(other) - self.context.value_of(level)
            if away and (away > 0) != upwards:
                self.context.error(
                    "bad-release",
                    place,
                    "the release is on the wrong side of the threshold",
                    expected="a level that is passed later, on the way back",
                    fix="at_least 13 deg goes with release 12 deg, at_most 2 mm with release 3 mm",
                )
                return

    def _level(self, value: LevelText, path: Path, unit: str, negate: bool) -> Level | None:
        return self.context.level(value, unit, self.context.at(*path), mirror=self.mirror, negate=negate)

    def _follow(self, kind: str, block: GuardBlock, path: Path, place: Place) -> Follow | None:
        index = self._find("setpoint", block.reached or block.at_target, (*path, kind))
        if index is None:
            return None
        setpoint = self.setpoints[index]
        if not setpoint.followers and self._was_cut("setpoints", setpoint.name, "followed_by"):
            return None
        if not setpoint.followers:
            self.context.error(
                "no-follower",
                self.context.at(*path, kind),
                f"no signal follows {setpoint.name}, so nothing tells whether it got there",
                fix=f"give {setpoint.name} a followed_by in the machine file",
            )
            return None
        key = "short_by" if kind == "reached" else "tolerance"
        text = block.short_by or block.tolerance
        assert text is not None
        tolerance = self._level(text, (*path, key), setpoint.unit, False)
        release = None
        if block.release is not None:
            release = self._release(block.release, (*path, "release"), setpoint.unit, False, "at_most")[1]
            self._check_release(
                "at_most", (None, tolerance), (None, release), self.context.at(*path, "release")
            )
        for level, at in ((tolerance, key), (release, "release")):
            if level is not None and self.context.range_of(level)[0] < 0:
                self.context.error(
                    "out-of-span", self.context.at(*path, at), f"{at} is negative", expected="0 or more"
                )
        if tolerance is None:
            return None
        latch = self.slots.latch() if block.release is not None else None
        op = "reached" if kind == "reached" else "at_target"
        return Follow(op, index, tolerance, release, latch, setpoint.unit, place)  # type: ignore[arg-type]

    def _lost(self, block: GuardBlock, path: Path, place: Place) -> Lost | None:
        at = self.context.at(*path, "lost")
        if block.lost == REMOTE:
            if self.remote is not None and self.remote.lost_after_ms is not None:
                return Lost(None, place)
            if not self._was_cut("remote") and not self._was_cut("remote", "lost_after"):
                message = "the machine has no remote with a lost_after, so it can never be lost"
                self.context.error(
                    "never-lost", at, message, fix="remote: {carries: [...], lost_after: 500 ms}"
                )
            return None
        index = self._find("signal", block.lost, (*path, "lost"))
        if index is None:
            return None
        signal = self.signals[index]
        if signal.lost_after_ms is None and not self._was_cut("signals", signal.name, "lost_after"):
            message = f"{signal.name} has no lost_after, so it can never be lost"
            self.context.error("never-lost", at, message, fix=f"{signal.name}: {{..., lost_after: 100 ms}}")
        return Lost(index, place)

    def _was_cut(self, *path: str) -> bool:
        return self.context.was_cut(self.context.machine, *path)

    def _in_phase(self, block: GuardBlock, path: Path, place: Place) -> InPhase | None:
        index = self._find("sequence", block.sequence, (*path, "sequence"))
        if index is None:
            return None
        phases = []
        names = self.mirror_phases(block.in_ or [])
        for i, name in enumerate(names):
            found = self.find_phase(self.sequences[index], name, self.context.at(*path, "in", i))
            if found is not None:
                phases.append(found)
        return InPhase(index, tuple(sorted(set(phases))), place)

    def mirror_phases(self, names: list[str]) -> list[str]:
        """Give the phases as the side that is being built knows them."""
        return [self.mirror.phase(name) for name in names] if self.mirror else names

    def find_phase(self, sequence: str, name: str, place: Place) -> int | None:
        """Give the index of a phase of a sequence; notes an error if there is none."""
        kind = f"phase of {sequence}" if len(self.sequences) > 1 else "phase"
        return self.context.find(kind, name, place)


def _as_op(op: str) -> CompareOp:
    return op  # type: ignore[return-value]  # one of COMPARISONS, which are the same words
