"""From a plan to what its templates print."""

from dataclasses import replace
from functools import partial
from typing import Any, Literal

from sequencer import __version__
from sequencer.generate.guards import GuardWriter, Slots, lay_out_slots
from sequencer.generate.loops import DrivesWriter
from sequencer.generate.names import file_name, where
from sequencer.generate.setpoints import (
    Aims,
    follow_views,
    lay_out_aims,
    rate_views,
    setpoint_views,
)
from sequencer.generate.signals import (
    believe_views,
    last_view,
    loss_views,
    resolution_views,
    scale_views,
    signal_views,
    span_views,
    unit_and_step,
)
from sequencer.generate.spelling import Spelling, bits_type, mask, smallest, whole
from sequencer.generate.uses import uses_of
from sequencer.generate.views import (
    AnywhereView,
    ArrivalView,
    BitView,
    CommandView,
    GaitView,
    NameView,
    NumberView,
    ParameterView,
    PhaseView,
    RemoteView,
    RuleView,
    SequenceView,
    SizesView,
)
from sequencer.plan.tables import Name, Phase, Plan, Sequence
from sequencer.plan.whole_steps import in_steps
from sequencer.plan.words import guard_words, rule_words

_FLOATS = NumberView(whole=False, type="float", fast="float", wide="float", zero="0.0F", one="1.0F")
_STEPS = NumberView(whole=True, type="int16_t", fast="int_fast16_t", wide="int32_t", zero="0", one="1")


def lay_out(plan: Plan) -> GaitView:
    """Make the view of a plan. Raises MisuseError if a name cannot stand in C++."""
    told = plan
    plan = plan if plan.fixed is None else in_steps(plan)
    spelling = Spelling(plan, told)
    slots, aims = lay_out_slots(plan), lay_out_aims(plan)
    guards, setpoints = GuardWriter(plan, spelling, slots), setpoint_views(plan, spelling, aims)
    sequences = _SequenceWriter(plan, spelling, guards, slots, aims).views()
    drives = DrivesWriter(plan, spelling)
    return GaitView(
        **_identity(plan, spelling.gait),
        number=_FLOATS if plan.fixed is None else _STEPS,
        signals=signal_views(plan, spelling),
        scales=scale_views(plan, spelling),
        believes=believe_views(plan, spelling),
        losses=loss_views(plan, spelling),
        last=last_view(plan, spelling),
        spans=span_views(plan, spelling),
        resolutions=resolution_views(plan, spelling),
        events=_bits(plan.events, spelling.events),
        switches=_bits(plan.switches, spelling.switches),
        pulses=_bits(plan.pulses, spelling.pulses),
        remote=_remote(plan),
        helping=plan.helping,
        setpoints=setpoints,
        rates=rate_views(plan, spelling),
        parameters=_parameters(plan, spelling),
        counters=tuple(NameView(n, c.name) for n, c in zip(spelling.counters, plan.counters, strict=True)),
        guards=guards.functions,
        sequences=sequences,
        follows=follow_views(plan, spelling, aims),
        anywhere=_anywhere(plan, spelling, guards),
        rules=_rules(plan, spelling, guards),
        loops=drives.loops(),
        outputs=drives.outputs(),
        drives=drives.drives(),
        sizes=_sizes(plan, slots, aims),
        uses=uses_of(plan, guards, aims, setpoints, sequences),  # last: the guards have been written by now
    )


def _identity(plan: Plan, stem: str) -> dict[str, Any]:
    """Say whose code it is and what its files are called."""
    return {
        "tool": f"gait-sequencer {__version__}",
        "gait": plan.name,
        "about": plan.about,
        "machine": plan.machine,
        "sha": plan.sha,
        "sources": tuple(file_name(source) for source in plan.sources),
        "tick_ms": plan.tick_ms,
        "namespace": stem,
        "macro": stem.upper().rstrip("_"),
        "header": f"{stem}.h",
        "source": f"{stem}.cpp",
        "hooks": f"{stem}_hooks.h".replace("__", "_"),
    }


def _bits(names: tuple[Name, ...], spelled: list[str]) -> tuple[BitView, ...]:
    bits = bits_type(len(names))
    return tuple(
        BitView(name, source.name, mask(i, bits))
        for i, (name, source) in enumerate(zip(spelled, names, strict=True))
    )


def _remote(plan: Plan) -> RemoteView | None:
    if plan.remote is None:
        return None
    lost = plan.remote.lost_after_ms
    return RemoteView("" if lost is None else whole(lost))


def _parameters(plan: Plan, spelling: Spelling) -> tuple[ParameterView, ...]:
    number = spelling.number
    sizes = plan.fixed.parameters if plan.fixed is not None else (None,) * len(plan.parameters)
    views = []
    for name, p, size in zip(spelling.parameters, plan.parameters, sizes, strict=True):
        unit, step = unit_and_step(p.unit, size)
        views.append(ParameterView(name, p.name, unit, number(p.value), number(p.low), number(p.high), step))
    return tuple(views)


def _anywhere(plan: Plan, spelling: Spelling, guards: GuardWriter) -> tuple[AnywhereView, ...]:
    held = [i for i, entry in enumerate(plan.anywhere) if plan.guards[entry.guard].hold is not None]
    return tuple(
        AnywhereView(
            guard=guards.view(entry.guard),
            first_held=held[:1] == [i],
            index=i,
            to=tuple(spelling.phase(s, p) for s, p in enumerate(entry.to)),
            words=guard_words(spelling.told, entry.guard),
            place=where(entry.place),
        )
        for i, entry in enumerate(plan.anywhere)
    )


def _rules(plan: Plan, spelling: Spelling, guards: GuardWriter) -> tuple[RuleView, ...]:
    return tuple(
        RuleView(
            name=name,
            text=rule.name,
            guard=guards.view(rule.guard, events=False, false=True),
            index=i,
            to=() if rule.to is None else tuple(spelling.phase(s, p) for s, p in enumerate(rule.to)),
            words=rule_words(spelling.told, i),
            place=where(rule.place),
        )
        for i, (name, rule) in enumerate(zip(spelling.rules, plan.rules, strict=True))
    )


def _sizes(plan: Plan, slots: Slots, aims: Aims) -> SizesView:
    most_slots = max(plan.latches, len(slots.timers), len(slots.counts), slots.gathered_total)
    return SizesView(
        signals=len(plan.signals),
        events=len(plan.events),
        switches=len(plan.switches),
        pulses=len(plan.pulses),
        setpoints=len(plan.setpoints),
        parameters=len(plan.parameters),
        counters=len(plan.counters),
        sequences=len(plan.sequences),
        rules=len(plan.rules),
        leaves=len(plan.leaves),
        latches=plan.latches,
        timers=len(slots.timers),
        counts=len(slots.counts),
        gathered=slots.gathered_total,
        entries=len(aims.entries),
        aims=len(aims.levels),
        event_bits=bits_type(len(plan.events)),
        switch_bits=bits_type(len(plan.switches)),
        pulse_bits=bits_type(len(plan.pulses)),
        slot_type=smallest(most_slots),
        count_type=smallest(slots.most),
        hold_type=smallest(slots.longest_ms),
    )


class _SequenceWriter:
    """Makes the views of sequences and their phases."""

    def __init__(self, plan: Plan, spelling: Spelling, guards: GuardWriter, slots: Slots, aims: Aims) -> None:
        self._plan = plan
        self._spelling = spelling
        self._guards = guards
        self._slots = slots
        self._aims = aims
        self._pulse_mask = partial(mask, bits=bits_type(len(plan.pulses)))

    def views(self) -> tuple[SequenceView, ...]:
        """Spell all sequences."""
        return tuple(self._view(index, sequence) for index, sequence in enumerate(self._plan.sequences))

    def _view(self, index: int, sequence: Sequence) -> SequenceView:
        suffix = self._spelling.suffixes[index]
        phases = tuple(self._phase(index, number, p) for number, p in enumerate(sequence.phases))
        slots = range(sequence.first_hold, sequence.first_hold + sequence.holds)
        limits = [p.timeout.after_ms for p in sequence.phases if p.timeout is not None]
        faults = {p.timeout_to for p in phases if p.timeout_to}
        entries = tuple(
            (self._spelling.setpoints[s], slot)
            for s, slot in self._aims.entries.items()
            if self._plan.setpoints[s].owner == index
        )
        return SequenceView(
            name=self._spelling.sequences[index],
            text=sequence.name,
            enum=f"Phase{suffix}",
            phase=f"phase{suffix}",
            since=f"since{suffix}",
            to=f"to{suffix}",
            cause=f"cause{suffix}",
            stay=f"stay{suffix}",
            decide=f"decide{suffix}",
            enter=f"enter{suffix}",
            afresh=f"start_afresh{suffix}",
            first=self._spelling.phase(index, 0),
            index=index,
            phases=phases,
            arrivals=self._arrivals(index, sequence),
            limit_type=smallest(max(limits)) if limits else "",
            fault=faults.pop() if len(faults) == 1 else "",
            latches=(sequence.first_latch, sequence.first_latch + sequence.latches),
            timers=_span([self._slots.timers[s] for s in slots if s in self._slots.timers]),
            counts=_span([self._slots.counts[s] for s in slots if s in self._slots.counts]),
            gathered=self._gathered(slots),
            entries=entries,
            unused_decide=self._unused(sequence),
            retargets=any(c.level.parameter is not None for p in sequence.phases for c in p.commands),
            clears=bool(sequence.latches or sequence.holds),
            decides=any(p.exits or p.timeout for p in sequence.phases),
            steps=_steps([out.asked for phase in phases for out in phase.exits]),
            stops=any(p.stop is not None for p in sequence.phases),
        )

    def _gathered(self, slots: range) -> tuple[int, int]:
        firsts = [
            (self._slots.gathered[s], self._slots.octets[s]) for s in slots if s in self._slots.gathered
        ]
        return (firsts[0][0], sum(firsts[-1])) if firsts else (0, 0)

    def _phase(self, sequence: int, number: int, phase: Phase) -> PhaseView:
        spelling = self._spelling
        timeout = phase.timeout
        return PhaseView(
            name=spelling.phase(sequence, number),
            text=phase.name,
            about=phase.about,
            place=where(phase.place),
            stop=phase.stop,
            exits=tuple(self._guards.exit(out, sequence, i) for i, out in enumerate(phase.exits)),
            timeout_ms="" if timeout is None else whole(timeout.after_ms),
            timeout_to="" if timeout is None else spelling.phase(sequence, timeout.to),
            timeout_place="" if timeout is None else where(timeout.place),
        )

    def _arrivals(self, index: int, sequence: Sequence) -> tuple[ArrivalView, ...]:
        """Say what entering does, once for all phases for which it is the same."""
        spelling = self._spelling
        groups: dict[ArrivalView, list[tuple[str, str]]] = {}
        for number, phase in enumerate(sequence.phases):
            arrival = ArrivalView(
                phases=(),
                commands=self._commands(phase),
                count=tuple(spelling.counters[c] for c in phase.count),
                reset=tuple(spelling.counters[c] for c in phase.reset),
                pulses=" | ".join(spelling.pulses[p] for p in phase.pulse),
            )
            if arrival != ArrivalView((), (), (), (), ""):
                groups.setdefault(arrival, []).append((spelling.phase(index, number), where(phase.place)))
        return tuple(replace(arrival, phases=tuple(phases)) for arrival, phases in groups.items())

    def _commands(self, phase: Phase) -> tuple[CommandView, ...]:
        views = []
        for command in phase.commands:
            name = self._spelling.setpoints[command.setpoint]
            aim = self._aims.slots.get(command.setpoint)
            level = self._aims.number(command.setpoint, command.level)
            value = (
                None if level else self._spelling.number(self._aims.clamped(command.setpoint, command.level))
            )
            views.append(CommandView(name, value, aim, level))
        return tuple(views)

    def _unused(self, sequence: Sequence) -> tuple[str, ...]:
        """Name the parameters of the sequence's decision that no phase of it needs."""
        unused = []
        if not any(p.exits or p.timeout for p in sequence.phases):
            unused.append("to")
        if not self._plan.helping and not any(
            p.timeout or any(self._guards.reads_inputs(e.guard) for e in p.exits) for p in sequence.phases
        ):
            unused.append("in")
        return tuple(unused)


def _steps(asked: list[bool]) -> Literal["none", "some", "all"]:
    """Tell which ways out wait for a step, given whether somebody asked for each."""
    if all(asked):
        return "none"
    return "some" if any(asked) else "all"


def _span(numbers: list[int]) -> tuple[int, int]:
    """First and one past the last of consecutive numbers."""
    return (numbers[0], numbers[-1] + 1) if numbers else (0, 0)
