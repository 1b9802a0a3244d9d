"""Guards as the statements that work them out: leaves, their combinations, holds."""

from dataclasses import dataclass, field

from sequencer.generate.names import where
from sequencer.generate.spelling import Spelling, whole
from sequencer.generate.views import ExitView, GuardView, HoldView, LeafView, StepView
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

    @property
    def gathered_total(self) -> int:
        """How many bytes gather freshness."""
        return sum(self.octets.values())


def lay_out_slots(plan: Plan) -> Slots:
    """Give timers and counts numbers in the order of the plan's slots: a sequence's stand together."""
    timers: set[int] = set()
    octets: dict[int, int] = {}
    most = 0
    for guard in plan.guards:
        hold = guard.hold
        if hold is not None and hold.ms is not None:
            timers.add(hold.slot)
        elif hold is not None and hold.samples is not None:
            most = max(most, hold.samples)
            octets[hold.slot] = max(octets.get(hold.slot, 1), (len(hold.signals) + 7) // 8)
    slots = Slots(most=most)
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
        self.uses: set[str] = set()

    def view(self, index: int, *, events: bool = True) -> GuardView:
        """Spell a guard; `events` is False for rules, which are judged when events are over."""
        guard = self._plan.guards[index]
        steps: list[StepView] = []
        stack: list[str] = []
        for number, node in enumerate(guard.nodes):
            var = f"t{index}_{number}"
            if node.kind == "leaf":
                leaf = self._leaf(self._plan.leaves[node.arg], node.arg, var, events)
                steps.append(StepView("leaf", var, leaf, ()))
            else:
                operands = tuple(stack[-node.arg :])
                del stack[-node.arg :]
                self.uses.update({node.kind} if node.kind == "not" or node.arg > 1 else ())
                steps.append(StepView(node.kind, var, None, operands))
            stack.append(var)
        return GuardView(tuple(steps), stack[0], f"fires_{index}", self._hold(guard))

    def exit(self, out: Exit, sequence: int, number: int) -> ExitView:
        """Spell a way out of a phase."""
        return ExitView(
            guard=self.view(out.guard),
            to=self._spelling.phase(sequence, out.to),
            index=number,
            words=guard_words(self._plan, out.guard),
            place=where(out.place),
        )

    def reads_inputs(self, index: int, *, events: bool = True) -> bool:
        """Tell whether a guard reads this tick's events, switches or clock."""
        guard = self._plan.guards[index]
        kinds = (OnEvent, OnSwitch) if events else (OnSwitch,)
        timed = guard.hold is not None and guard.hold.ms is not None
        return timed or any(isinstance(self._plan.leaves[leaf], kinds) for leaf in guard.leaves)

    def _hold(self, guard: Guard) -> HoldView | None:
        hold = guard.hold
        if hold is None:
            return None
        if hold.ms is not None:
            self.uses.add("held")
            return HoldView("ms", self._slots.timers[hold.slot], whole(hold.ms))
        return self._counted(hold)

    def _counted(self, hold: Hold) -> HoldView:
        assert hold.samples is not None
        self.uses.add("counted")
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
                self.uses.update({"truth"} if events else ())
                name = spelling.events[leaf.event]
                return LeafView("event" if events else "no_event", "", index, var, name)
            case OnSwitch():
                self.uses.add("truth")
                return LeafView("switch", "", index, var, spelling.switches[leaf.switch], remote=leaf.remote)
            case Lost():
                self.uses.add("truth")
                if leaf.signal is None:
                    return LeafView("lost_remote", "", index, var, "")
                return LeafView("lost", "", index, var, spelling.signals[leaf.signal])
            case InPhase():
                self.uses.add("truth")
                phases = tuple(spelling.phase(leaf.sequence, p) for p in leaf.phases)
                return LeafView(
                    "in", "", index, var, f"phase{spelling.suffixes[leaf.sequence]}", phases=phases
                )

    def _compare(self, leaf: Compare, index: int, var: str) -> LeafView:
        self.uses.update({"truth", "known"} if leaf.source == "signal" else {"truth"})
        self.uses.update({"smaller"} if leaf.op == "within" else {"larger"} if leaf.op == "outside" else ())
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
        self.uses.update({"truth", "known"})
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
        )
