"""Guards as the statements that work them out: leaves, their combinations, holds."""

import re
from collections.abc import Hashable
from dataclasses import dataclass, field, replace

from sequencer.base.places import NOWHERE
from sequencer.generate.guard_views import FunctionView, GuardView, HoldView, LatchView, LeafView, StepView
from sequencer.generate.names import where
from sequencer.generate.spelling import Spelling, whole
from sequencer.generate.truths import Conditions, Truths, latched
from sequencer.generate.views import ExitView
from sequencer.plan.steps import needs_event
from sequencer.plan.tables import (
    Compare,
    Exit,
    Follow,
    Guard,
    Hold,
    InPhase,
    Leaf,
    Lost,
    OnEvent,
    OnSwitch,
    Plan,
)
from sequencer.plan.words import guard_words


@dataclass
class Slots:
    """Where holds live: the plan's slots, told apart into those that time and those that count."""

    timers: dict[int, int] = field(default_factory=dict)
    counts: dict[int, int] = field(default_factory=dict)
    gathered: dict[int, int] = field(default_factory=dict)  # first byte of each counting slot
    octets: dict[int, int] = field(default_factory=dict)  # how many bytes it has
    most: int = 0  # the largest number of samples
    longest_ms: int = 0

    @property
    def gathered_total(self) -> int:
        """How many bytes gather freshness."""
        return sum(self.octets.values())


def lay_out_slots(plan: Plan) -> Slots:
    """Give timers and counts numbers in the order of the plan's slots: a sequence's stand together."""
    timers: set[int] = set()
    octets: dict[int, int] = {}
    most = longest_ms = 0
    for guard in plan.guards:
        hold = guard.hold
        if hold is not None and hold.ms is not None:
            timers.add(hold.slot)
            longest_ms = max(longest_ms, hold.ms)
        elif hold is not None and hold.samples is not None:
            most = max(most, hold.samples)
            octets[hold.slot] = max(octets.get(hold.slot, 1), (len(hold.signals) + 7) // 8)
    slots = Slots(most=most, longest_ms=longest_ms)
    slots.timers = {slot: number for number, slot in enumerate(sorted(timers))}
    first = 0
    for number, slot in enumerate(sorted(octets)):
        slots.counts[slot], slots.gathered[slot], slots.octets[slot] = number, first, octets[slot]
        first += octets[slot]
    return slots


class GuardWriter:
    """Makes the views of guards; notes which helper functions they call in `uses`."""

    def __init__(self, plan: Plan, spelling: Spelling, slots: Slots) -> None:
        self._plan = plan
        self._spelling = spelling
        self._slots = slots
        self._truths = Truths(plan, spelling)
        self._firsts = self._first_leaves()
        self._functions: dict[Hashable, FunctionView] = {}
        self._uses: set[str] = set()

    @property
    def uses(self) -> set[str]:
        """Name the helper functions that are called so far."""
        return self._uses | self._truths.uses

    @property
    def functions(self) -> tuple[FunctionView, ...]:
        """Give the guards of phases so far, each once."""
        return tuple(self._functions.values())

    def view(self, index: int, *, events: bool = True, false: bool = False) -> GuardView:
        """Spell a guard; `events` is False for rules, which are judged when events are over.

        false: also say when it is certainly false.
        """
        guard = self._plan.guards[index]
        conditions = self._truths.guard(guard, events=events, false=false)
        steps: list[StepView] = []
        for number, node in enumerate(guard.nodes):
            if node.kind == "leaf":
                var = f"t{index}_{number}"
                leaf = self._leaf(self._plan.leaves[node.arg], node.arg, var, events)
                steps.append(StepView("leaf", var, leaf, ()))
        return GuardView(
            steps=tuple(steps),
            number=index,
            var=f"t{index}",
            is_true=f"true_{index}",
            fires=f"fires_{index}",
            hold=self._hold(guard, conditions),
            latches=self._latches(guard),
            true_if=conditions.true,
            false_if=conditions.false,
            certain=conditions.certain,
        )

    def _latches(self, guard: Guard) -> tuple[LatchView, ...]:
        views = []
        for index in guard.leaves:
            leaf = self._plan.leaves[index]
            if isinstance(leaf, Compare | Follow) and leaf.latch is not None:
                condition = self._truths.unlatched(index).true
                self._truths.note(condition)
                views.append(LatchView(latched(index), leaf.latch, condition))
        return tuple(views)

    def exit(self, out: Exit, sequence: int, number: int) -> ExitView:
        """Spell a way out of a phase."""
        function = self._function(out.guard)
        guard = self._plan.guards[out.guard]
        given = [
            "s",
            *(["in"] if function.inputs else ()),
            *([whole(guard.leaves[0])] if function.leaf else ()),
        ]
        return ExitView(
            call=f"{function.name}({', '.join(given)})",
            to=self._spelling.phase(sequence, out.to),
            index=number,
            asked=needs_event(self._plan, guard),
            words=guard_words(self._spelling.told, out.guard),
            place=where(out.place),
        )

    def _function(self, index: int) -> FunctionView:
        key = self._meaning(index)
        if key not in self._functions:
            view = self.view(index)
            self._functions[key] = FunctionView(
                name=f"guard_{index}",
                guard=view,
                state=view.hold is not None or bool(view.latches) or _reads_state(view.true_if),
                leaf=len(self._firsts[key]) > 1,
                inputs=self.reads_inputs(index),
                first=self._plan.guards[index].leaves[0],
                words=guard_words(self._spelling.told, index),
            )
        return self._functions[key]

    def _first_leaves(self) -> dict[Hashable, set[int]]:
        """Tell for each meaning of a phase's guard where its comparisons begin: equal ones share code."""
        firsts: dict[Hashable, set[int]] = {}
        for sequence in self._plan.sequences:
            for phase in sequence.phases:
                for out in phase.exits:
                    first = self._plan.guards[out.guard].leaves[0]
                    firsts.setdefault(self._meaning(out.guard), set()).add(first)
        return firsts

    def _meaning(self, index: int) -> Hashable:
        """Give what a guard does, without its place and without where its comparisons begin."""
        guard = self._plan.guards[index]
        if guard.leaves != tuple(range(guard.leaves[0], guard.leaves[0] + len(guard.leaves))):
            return index
        leaves = tuple(_without_place(self._plan.leaves[leaf]) for leaf in guard.leaves)
        nodes = tuple((n.kind, n.arg - guard.leaves[0] if n.kind == "leaf" else n.arg) for n in guard.nodes)
        return (nodes, leaves, guard.hold)

    def reads_inputs(self, index: int, *, events: bool = True) -> bool:
        """Tell whether a guard reads this tick's events, switches or clock."""
        guard = self._plan.guards[index]
        kinds = (OnEvent, OnSwitch) if events else (OnSwitch,)
        timed = guard.hold is not None and guard.hold.ms is not None
        return timed or any(isinstance(self._plan.leaves[leaf], kinds) for leaf in guard.leaves)

    def _hold(self, guard: Guard, conditions: Conditions) -> HoldView | None:
        hold = guard.hold
        if hold is None:
            return None
        if hold.ms is not None:
            self._uses.add("held")
            return HoldView("ms", self._slots.timers[hold.slot], whole(hold.ms))
        return self._counted(hold, conditions)

    def _counted(self, hold: Hold, conditions: Conditions) -> HoldView:
        assert hold.samples is not None
        never_lost = all(
            signal in conditions.known_if_true or self._plan.signals[signal].lost_after_ms is None
            for signal in hold.signals
        )
        simple = never_lost and len(hold.signals) <= 8
        self._uses.add("counted" if simple else "enough")
        return HoldView(
            "samples",
            self._slots.counts[hold.slot],
            whole(hold.samples),
            gathered=self._slots.gathered[hold.slot],
            octets=self._slots.octets[hold.slot],
            signals=tuple(
                (
                    self._spelling.signals[signal],
                    self._slots.gathered[hold.slot] + i // 8,
                    f"0x{1 << i % 8:02X}U",
                )
                for i, signal in enumerate(hold.signals)
            ),
            all_bits=f"0x{(1 << len(hold.signals)) - 1:02X}U" if simple else "",
        )

    def _leaf(self, leaf: Leaf, index: int, var: str, events: bool) -> LeafView:
        if isinstance(leaf, Compare):
            return self._compare(leaf, index, var)
        if isinstance(leaf, Follow):
            return self._follow(leaf, index, var)
        return self._question(leaf, index, var, events)

    def _question(
        self, leaf: OnEvent | OnSwitch | Lost | InPhase, index: int, var: str, events: bool
    ) -> LeafView:
        spelling = self._spelling
        match leaf:
            case OnEvent():
                name = spelling.events[leaf.event]
                return LeafView("event" if events else "no_event", "", index, var, name)
            case OnSwitch():
                return LeafView("switch", "", index, var, spelling.switches[leaf.switch], remote=leaf.remote)
            case Lost():
                if leaf.signal is None:
                    return LeafView("lost_remote", "", index, var, "")
                return LeafView("lost", "", index, var, spelling.signals[leaf.signal])
            case InPhase():
                phases = tuple(spelling.phase(leaf.sequence, p) for p in leaf.phases)
                return LeafView(
                    "in", "", index, var, f"phase{spelling.suffixes[leaf.sequence]}", phases=phases
                )

    def _compare(self, leaf: Compare, index: int, var: str) -> LeafView:
        self._uses.update({"smaller"} if leaf.op == "within" else {"larger"} if leaf.op == "outside" else ())
        names = self._spelling.signals if leaf.source == "signal" else self._spelling.counters
        level = self._spelling.level
        return LeafView(
            leaf.source,
            leaf.op,
            index,
            var,
            names[leaf.index],
            low=level(leaf.low),
            high=level(leaf.high),
            release_low=level(leaf.release_low),
            release_high=level(leaf.release_high),
            latch=leaf.latch,
        )

    def _follow(self, leaf: Follow, index: int, var: str) -> LeafView:
        name = self._spelling.setpoints[leaf.setpoint].removeprefix("setpoint_")
        return LeafView(
            "follow",
            leaf.op,
            index,
            var,
            name,
            low=self._spelling.level(leaf.tolerance),
            release_low=self._spelling.level(leaf.release),
            latch=leaf.latch,
            known=self._truths.known(leaf),
        )


def _reads_state(condition: str) -> bool:
    return re.search(r"\bs\b", condition) is not None


def _without_place(leaf: Leaf) -> Leaf:
    return replace(leaf, place=NOWHERE)
