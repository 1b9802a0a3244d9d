"""From phase blocks to sequences, with mirror images and defaults written out."""

from dataclasses import replace

from sequencer.base.places import Place
from sequencer.gait.gait_model import GaitFile, LeaveBlock, PhaseBlock, TimeoutBlock
from sequencer.gait.mirror import Mirror
from sequencer.gait.nodes import Path
from sequencer.plan.context import Context
from sequencer.plan.guards import GuardTables
from sequencer.plan.tables import (
    MOST_GUARDS_OF_A_PHASE,
    MOST_PHASES,
    Command,
    Counter,
    Exit,
    Phase,
    Sequence,
    Setpoint,
    Timeout,
)

ONLY_SEQUENCE = "walk"  # the name of the sequence that a top-level `phases:` makes
Written = tuple[
    str, PhaseBlock, Path, Mirror | None
]  # name, block, path of the block, mirror if it is an image


def written_phases(gait: GaitFile, context: Context, mirror: Mirror | None) -> dict[str, list[Written]]:
    """List the phases of each sequence, mirror images included, in the order of the plan."""
    if gait.sequences:
        return {
            name: [
                (phase, block, ("sequences", name, "phases", phase), None)
                for phase, block in sequence.phases.items()
            ]
            for name, sequence in gait.sequences.items()
        }
    plain: list[Written] = [(name, block, ("phases", name), None) for name, block in gait.phases.items()]
    if mirror is None or gait.mirror is None:
        return {ONLY_SEQUENCE: plain} if plain else {}
    images, last = [], -1
    numbers = {written[0]: i for i, written in enumerate(plain)}
    for source, image in gait.mirror.phases.items():
        at = ("mirror", "phases", source)
        position = numbers.get(source)
        if position is None:
            if source not in context.gait.declared.get("phases", ()):
                context.error(
                    "unknown-name",
                    context.gait.where.key(at),
                    f"there is no phase {source} to mirror",
                    expected="a phase that is written out",
                    fix=f"did you mean {close}?" if (close := context.nearest(source, numbers)) else "",
                )
            continue
        if image in gait.phases:
            message = f"{image} is written out already, so it cannot be the mirror image of {source}"
            context.error(
                "duplicate-name", context.at(*at), message, expected="a new name", fix=f"take out {image}"
            )
            continue
        images.append((image, plain[position][1], plain[position][2], mirror))
        last = max(last, position)
    return {ONLY_SEQUENCE: [*plain[: last + 1], *images, *plain[last + 1 :]]}


class SequenceTables:
    """Builds the sequences and finds out which of them owns each setpoint and counter."""

    def __init__(
        self, context: Context, gait: GaitFile, guards: GuardTables, setpoints: tuple[Setpoint, ...]
    ) -> None:
        self.context = context
        self.gait = gait
        self.guards = guards
        self.setpoints = setpoints
        self.owner_of_setpoint: dict[int, int] = {}
        self.owner_of_counter: dict[int, int] = {}
        self.disputed: set[tuple[str, int, int]] = set()  # told once for each sequence
        self.default_used = False
        self.sequence = ""
        self.number = 0

    def build(self, written: dict[str, list[Written]]) -> tuple[Sequence, ...]:
        """Build all sequences."""
        sequences = []
        for self.number, (self.sequence, phases) in enumerate(written.items()):
            key: Path = ("sequences", self.sequence) if self.gait.sequences else ("phases",)
            place = self.context.gait.where.key(key)
            if len(phases) > MOST_PHASES:
                message = f"{self.sequence} has {len(phases)} phases"
                self.context.error("too-large", place, message, expected=f"at most {MOST_PHASES}")
                continue
            sequences.append(self._sequence(phases, place))
        if len(sequences) == 1 and not self.default_used:
            self._default_timeout(None)  # judged even if no phase takes it
        return tuple(sequences)

    def _sequence(self, written: list[Written], place: Place) -> Sequence:
        slots = self.guards.slots
        first_latch, first_hold = slots.latches, slots.holds
        most_latches, most_holds = first_latch, first_hold
        phases = []
        for name, block, path, mirror in written:
            slots.latches, slots.holds = first_latch, first_hold
            phases.append(self._phase(name, block, path, mirror))
            most_latches, most_holds = max(most_latches, slots.latches), max(most_holds, slots.holds)
        slots.latches, slots.holds = most_latches, most_holds
        return Sequence(
            name=self.sequence,
            phases=tuple(phases),
            first_latch=first_latch,
            latches=most_latches - first_latch,
            first_hold=first_hold,
            holds=most_holds - first_hold,
            place=place,
        )

    def _phase(self, name: str, block: PhaseBlock, path: Path, mirror: Mirror | None) -> Phase:
        if len(block.leave) > MOST_GUARDS_OF_A_PHASE:
            message = f"{name} has {len(block.leave)} ways out"
            self.context.error(
                "too-large", self.context.at(*path, "leave"), message, expected=f"{MOST_GUARDS_OF_A_PHASE}"
            )
        exits = [self._exit(leave, (*path, "leave", i), mirror) for i, leave in enumerate(block.leave)]
        count, reset = (
            self._counters(block.count, (*path, "count"), mirror),
            self._counters(block.reset, (*path, "reset"), mirror),
        )
        if set(count) & set(reset):
            place = self.context.at(*path, "reset")
            self.context.error(
                "bad-phase", place, "a phase either counts or resets a counter", expected="one of the two"
            )
        keep = [self._setpoint(n, (*path, "keep", i), mirror) for i, n in enumerate(block.keep)]
        pulses = [
            self.context.find("pulse", self._name(n, mirror), self.context.at(*path, "pulse", i))
            for i, n in enumerate(block.pulse)
        ]
        return Phase(
            name=name,
            about=block.about,
            rest=block.rest,
            stop=block.stop,
            commands=tuple(self._commands(block, path, mirror)),
            keep=tuple(k for k in keep if k is not None),
            count=count,
            reset=reset,
            pulse=tuple(p for p in pulses if p is not None),
            exits=tuple(e for e in exits if e is not None),
            timeout=self._timeout(block, path, mirror),
            never_because=block.because if block.timeout is not None and block.timeout.never else "",
            mirrored_from=path[-1] if mirror and isinstance(path[-1], str) else "",
            place=self.context.gait.where.key(path),
        )

    @staticmethod
    def _name(name: str, mirror: Mirror | None) -> str:
        return mirror.name(name) if mirror else name

    def _exit(self, leave: LeaveBlock, path: Path, mirror: Mirror | None) -> Exit | None:
        hold_at = self.context.at(*path, "hold")
        guard = self.guards.build(leave.when, (*path, "when"), leave.hold, hold_at, mirror)
        to = self._to(leave.to, (*path, "to"), mirror)
        return Exit(guard, to, self.context.at(*path)) if to is not None else None

    def _to(self, name: str, path: Path, mirror: Mirror | None) -> int | None:
        image = mirror.phase(name) if mirror else name
        return self.guards.find_phase(self.sequence, image, self.context.at(*path))

    def _timeout(self, block: PhaseBlock, path: Path, mirror: Mirror | None) -> Timeout | None:
        if block.timeout is None:
            return None if block.rest or block.stop is not None else self._default_timeout(mirror)
        return self._own_timeout(block.timeout, (*path, "timeout"), mirror)

    def _default_timeout(self, mirror: Mirror | None) -> Timeout | None:
        self.default_used = True
        timeout = self.gait.defaults.timeout
        return self._own_timeout(timeout, ("defaults", "timeout"), mirror) if timeout is not None else None

    def _own_timeout(self, timeout: TimeoutBlock, at: Path, mirror: Mirror | None) -> Timeout | None:
        if timeout.never:
            return None
        after = self.context.ms(timeout.after, self.context.at(*at, "after"), least=1)
        to = self._to(timeout.to, (*at, "to"), mirror)
        return Timeout(after, to, self.context.at(*at)) if after is not None and to is not None else None

    def _setpoint(self, name: str, path: Path, mirror: Mirror | None) -> int | None:
        return self.context.find("setpoint", self._name(name, mirror), self.context.gait.where.key(path))

    def _commands(self, block: PhaseBlock, path: Path, mirror: Mirror | None) -> list[Command]:
        commands, context = [], self.context
        for name, text in block.set.items():
            at = (*path, "set", name)
            place = context.at(*at)
            index = self._setpoint(name, at, mirror)
            if index is None:
                continue
            self._own("setpoint", index, context.gait.where.key(at))
            setpoint = self.setpoints[index]
            negate = mirror is not None and mirror.negates(setpoint.name)
            level = context.level(text, setpoint.unit, place, mirror=mirror, negate=negate)
            if level is None:
                continue
            target = context.value_of(level)
            if not setpoint.low <= target <= setpoint.high:
                image = " (in the mirror image)" if mirror else ""
                context.error(
                    "out-of-span",
                    place,
                    f"{target:g} {setpoint.unit} is outside the span of {setpoint.name}{image}",
                    expected=f"{setpoint.low:g} to {setpoint.high:g} {setpoint.unit}",
                )
            commands.append(Command(index, level, place))
        return commands

    def _counters(self, names: list[str], path: Path, mirror: Mirror | None) -> tuple[int, ...]:
        found = []
        for i, name in enumerate(names):
            place = self.context.at(*path, i)
            index = self.context.find("counter", self._name(name, mirror), place)
            if index is not None and index not in found:
                self._own("counter", index, place)
                found.append(index)
        return tuple(found)

    def _own(self, kind: str, index: int, place: Place) -> None:
        owners = self.owner_of_setpoint if kind == "setpoint" else self.owner_of_counter
        key = (kind, index, self.number)
        if owners.setdefault(index, self.number) == self.number or key in self.disputed:
            return
        self.disputed.add(key)
        name = self.setpoints[index].name if kind == "setpoint" else self.gait.counters[index]
        other, here = self.guards.sequences[owners[index]], self.sequence
        own = f"give each sequence a {kind} of its own, such as {other}_{name} and {here}_{name}"
        self.context.error(
            "two-owners",
            place,
            f"{kind} {name} belongs to sequence {other} already",
            expected="each setpoint and counter set by one sequence only",
            fix=f"{own}; or let only {other} {'set' if kind == 'setpoint' else 'count'} it",
        )

    # owners

    def owned_setpoints(self) -> tuple[Setpoint, ...]:
        """Give the setpoints with their owners."""
        return tuple(replace(s, owner=self.owner_of_setpoint.get(i)) for i, s in enumerate(self.setpoints))

    def owned_counters(self, counters: list[str]) -> tuple[Counter, ...]:
        """Give the counters with their owners."""
        return tuple(
            Counter(name, self.owner_of_counter.get(i), self.context.at("counters", i))
            for i, name in enumerate(counters)
        )
