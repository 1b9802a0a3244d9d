"""From files to a plan."""

import gc
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path as FilePath

from sequencer.base.errors import FileErrors
from sequencer.base.findings import Finding, Severity
from sequencer.base.places import Place
from sequencer.gait.fields import is_name
from sequencer.gait.gait_model import GaitFile, RuleBlock
from sequencer.gait.load import Loaded, load_files, load_machine, load_text
from sequencer.gait.machine_model import MachineFile
from sequencer.gait.mirror import Mirror, make_mirror
from sequencer.gait.reading import Texts
from sequencer.plan.arithmetic import with_arithmetic
from sequencer.plan.budget import build_budget
from sequencer.plan.context import Context, Names
from sequencer.plan.drives import DriveTables
from sequencer.plan.dump import meaning_hash
from sequencer.plan.guards import GuardTables
from sequencer.plan.machine_only import nothing_but, plan_without_walk
from sequencer.plan.machine_tables import MachineTables
from sequencer.plan.parameters import read_parameters
from sequencer.plan.phases import SequenceTables, Written, written_phases
from sequencer.plan.tables import (
    MOST_GUARDS_OF_A_PHASE,
    MOST_SEQUENCES,
    MOST_SIGNALS,
    Anywhere,
    Plan,
    Rule,
    Setpoint,
    Signal,
)
from sequencer.plan.wiring import build_wiring


def load_plan(
    path: str | FilePath,
    machine: str | FilePath | None = None,
    texts: Texts | None = None,
    *,
    as_written: bool = True,
) -> Plan:
    """Read a gait file (``-`` for standard input) with its machine file and build the plan.

    machine: a machine file to use instead of the one that the gait names.
    texts: what the files say, by the names under which they are shown; filled with what is read.
    as_written: count in int16 if the machine file says so; without it, the plan is in binary32 whatever the
    file says. Raises FileErrors with every error of both files.
    """
    with _garbage_left():
        return build_plan(load_files(path, machine, texts), as_written=as_written)


def parse_plan(text: str, machine: str | FilePath | None = None, name: str = "<text>") -> Plan:
    """Build the plan of a gait given as text. Raises FileErrors."""
    with _garbage_left():
        return build_plan(load_text(text, machine, name))


@contextmanager
def _garbage_left() -> Iterator[None]:
    """Keep the garbage collector off the growing trees: it would take two thirds of the time."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def build_plan(loaded: Loaded, *, as_written: bool = True) -> Plan:
    """Build the plan of loaded files. Raises FileErrors with every error of both."""
    findings = list(loaded.findings)
    if (
        loaded.gait is None
        or loaded.machine is None
        or loaded.gait_file is None
        or loaded.machine_file is None
    ):
        raise FileErrors(_in_order(findings, loaded) or [_no_machine()])
    context = Context(loaded.gait_file, loaded.machine_file)
    plan = _PlanBuilder(context, loaded.gait, loaded.machine).build()
    plan = replace(plan, budget=build_budget(context, loaded.machine))
    plan = with_arithmetic(plan, context, loaded.machine, as_written=as_written)
    findings += context.findings
    if findings:
        raise FileErrors(_in_order(findings, loaded))
    accepted = (*loaded.gait_file.accepted, *loaded.machine_file.accepted)
    return replace(plan, sha=meaning_hash(plan), acceptances=accepted)


def machine_plan(path: str | FilePath) -> Plan:
    """Build the plan of a machine without a walk: its signals, setpoints, outputs and wiring, no sequences.

    A parameter that a setpoint's rate names, and the machine file does not declare, stands in as 1.
    Raises FileErrors with every error of the file.
    """
    with _garbage_left():
        loaded = load_machine(path)
        if loaded.machine is None or loaded.machine_file is None:
            raise FileErrors(list(loaded.findings))
        context = Context(nothing_but(loaded.machine_file), loaded.machine_file)
        plan = plan_without_walk(context, loaded.machine)
        findings = [*loaded.findings, *context.findings]
        if findings:
            raise FileErrors(_in_order(findings, loaded))
        return replace(plan, sha=meaning_hash(plan))


def _in_order(findings: list[Finding], loaded: Loaded) -> list[Finding]:
    """Order by place, the machine file first, as errors there may be behind those in the gait.

    What comes after the first error at a place follows from it, or says it again.
    """
    machine = loaded.machine_file.name if loaded.machine_file is not None else ""
    first: dict[Place, Finding] = {}
    for finding in findings:
        first.setdefault(finding.place, finding)
    return sorted(first.values(), key=lambda f: (f.place.file != machine, f.place))


def _no_machine() -> Finding:
    return Finding(
        "missing-key", Severity.ERROR, Place("<text>", 1, 1), "machine is missing", expected="machine: FILE"
    )


class _PlanBuilder:
    def __init__(self, context: Context, gait: GaitFile, machine: MachineFile) -> None:
        self.context = context
        self.gait = gait
        self.machine = machine

    def build(self) -> Plan:
        context, gait, tables = self.context, self.gait, MachineTables(self.context, self.machine)
        read_parameters(context, gait.parameters, self.machine)
        signals = tables.signals()
        setpoints = tables.setpoints(signals)
        remote = tables.remote(self.machine.remote)
        self._declare_counters()
        mirror = self._mirror()
        written = written_phases(gait, context, mirror)
        guards = GuardTables(context, signals, setpoints, remote, self._declare_phases(written))
        builder = SequenceTables(context, gait, guards, setpoints)
        sequences = builder.build(written)
        anywhere, rules = self._watched(guards, mirror)
        drives = self._drives(tables.tick_ms, signals, setpoints, guards)
        rows = signals, builder.owned_setpoints(), drives.outputs
        return Plan(
            name=gait.gait,
            about=gait.about,
            machine=self.machine.machine,
            tick_ms=tables.tick_ms,
            signals=signals,
            events=tables.bare_names("events", self.machine.events),
            switches=tables.bare_names("switches", self.machine.switches),
            remote=remote,
            setpoints=rows[1],
            parameters=tuple(context.parameters),
            counters=builder.owned_counters(gait.counters),
            pulses=tables.pulses,
            leaves=tuple(guards.leaves),
            guards=tuple(guards.guards),
            sequences=sequences,
            anywhere=anywhere,
            rules=rules,
            loops=drives.loops,
            outputs=drives.outputs,
            latches=guards.slots.latches,
            holds=guards.slots.holds,
            sources=tuple(dict.fromkeys((context.gait.name, context.machine.name))),
            wiring=build_wiring(context, self.machine, tables, rows),
            helping=self.machine.helping,
        )

    def _watched(
        self, guards: GuardTables, mirror: Mirror | None
    ) -> tuple[tuple[Anywhere, ...], tuple[Rule, ...]]:
        anywhere = tuple(self._anywhere(guards))
        rules = tuple(self._rules(guards, mirror))
        self._bound(anywhere=len(anywhere), rules=len(rules))
        return anywhere, rules

    def _drives(
        self, tick_ms: int, signals: tuple[Signal, ...], setpoints: tuple[Setpoint, ...], guards: GuardTables
    ) -> DriveTables:
        drives = DriveTables(self.context, self.machine, tick_ms, signals)
        drives.build(self.gait, guards, setpoints)
        return drives

    def _declare_counters(self) -> None:
        context, counters = self.context, self.gait.counters
        context.declare("counter", counters, context.gait.declared.get("counters", ()), context.gait)
        context.twice(counters, context.gait.where, "counters")
        if len(counters) > MOST_SIGNALS:
            context.error(
                "too-large", context.at("counters"), "too many counters", expected=f"{MOST_SIGNALS}"
            )

    def _declare_phases(self, written: dict[str, list[Written]]) -> dict[str, dict[str, int]]:
        """Enter the names of sequences and phases; give the phases' numbers."""
        phases = {name: {w[0]: i for i, w in enumerate(rows)} for name, rows in written.items()}
        context, gait, gait_file = self.context, self.gait, self.context.gait
        where, declared = gait_file.where, gait_file.declared
        if gait.phases and gait.sequences:
            message = "phases and sequences cannot both stand in a gait"
            context.error("bad-phase", where.key(("sequences",)), message, expected="one of the two")
        said = declared.get("phases") or declared.get("sequences") or gait_file.vanished
        if not phases and not said:
            context.error(
                "missing-key", context.at(), "the gait has no phases", expected="phases: or sequences:"
            )
        if len(phases) > MOST_SEQUENCES:
            context.error(
                "too-large", where.key(("sequences",)), "too many sequences", expected=f"{MOST_SEQUENCES}"
            )
        context.names["sequence"] = _names(list(phases), declared.get("sequences", ()))
        for name, index in phases.items():
            kind = f"phase of {name}" if len(phases) > 1 else "phase"
            more = gait_file.phases.get(name if gait.sequences else "", ())
            context.names[kind] = _names(list(index), more)
        return phases

    def _mirror(self) -> Mirror | None:
        block, context = self.gait.mirror, self.context
        if block is None:
            return None
        where = context.gait.where
        if self.gait.sequences:
            context.error(
                "bad-mirror",
                where.key(("mirror",)),
                "mirror cannot be used with sequences",
                expected="phases:",
            )
            return None
        known = {name for kind in _MIRRORED for name in context.names[kind].declared}
        mirror = make_mirror(block.swap, block.negate, block.phases, known)
        self._check_negate(mirror, block.negate)
        self._check_swap(mirror, block.swap)
        seen: set[str] = set()
        for source, image in block.phases.items():
            if image in seen:
                place = where.value(("mirror", "phases", source))
                context.error(
                    "bad-mirror", place, f"{image} is the mirror image of two phases", expected="one"
                )
            seen.add(image)
        return mirror

    def _check_negate(self, mirror: Mirror, negate: list[str]) -> None:
        context = self.context
        signals, setpoints = context.names["signal"].declared, context.names["setpoint"].declared
        for i, name in enumerate(negate):
            place = context.at("mirror", "negate", i)
            if name not in signals | setpoints:
                close = context.nearest(name, signals | setpoints)
                context.error(
                    "unknown-name",
                    place,
                    f"there is no signal or setpoint {name}",
                    expected="signals and setpoints that change their sign",
                    fix=f"did you mean {close}?" if close else "",
                )
            elif mirror.name(name) not in mirror.negate:
                context.error(
                    "bad-mirror",
                    place,
                    f"{name} is negated, its other side {mirror.name(name)} is not",
                    expected="both of a pair, or neither",
                )

    def _check_swap(self, mirror: Mirror, swap: dict[str, str]) -> None:
        for a, b in swap.items():
            whole = is_name(f"x_{a}") and is_name(f"x_{b}") and "_" not in a + b
            if not whole or a == b or mirror.words[a] != b or mirror.words[b] != a:
                self.context.error(
                    "bad-mirror",
                    self.context.at("mirror", "swap", a),
                    f"{a[:60]} and {b[:60]} cannot be swapped",
                    expected="two different whole words, each in one pair",
                )

    def _bound(self, **counts: int) -> None:
        """Check that the number of each row, mirror images included, fits beside a cause's kind."""
        for key, count in counts.items():
            if count > MOST_GUARDS_OF_A_PHASE:
                at, message = self.context.at(key), f"{key} has {count} entries"
                self.context.error("too-large", at, message, expected=f"at most {MOST_GUARDS_OF_A_PHASE}")

    def _everywhere(self, guards: GuardTables, to: str, place: Place) -> tuple[int, ...] | None:
        """Find the phase `to` in every sequence."""
        found = [guards.find_phase(name, to, place) for name in guards.sequences]
        known = [i for i in found if i is not None]
        return tuple(known) if len(known) == len(found) else None

    def _anywhere(self, guards: GuardTables) -> Iterator[Anywhere]:
        for i, block in enumerate(self.gait.anywhere):
            path = ("anywhere", i)
            hold_at = self.context.at(*path, "hold")
            guard = guards.build(block.when, (*path, "when"), block.hold, hold_at)
            to = self._everywhere(guards, block.to, self.context.at(*path, "to"))
            if to is not None:
                yield Anywhere(guard, to, self.context.at(*path))

    def _rules(self, guards: GuardTables, mirror: Mirror | None) -> Iterator[Rule]:
        for i, block in enumerate(self.gait.rules):
            yield self._rule(guards, block, i, None)
            if mirror is not None and _is_sided(block, mirror):
                yield self._rule(guards, block, i, mirror)

    def _rule(self, guards: GuardTables, block: RuleBlock, i: int, mirror: Mirror | None) -> Rule:
        place, first = self.context.at("rules", i), len(guards.leaves)
        condition = (block.while_, ("rules", i, "while")) if block.while_ is not None else None
        nodes, start, end = guards.build_rule((condition, (block.must, ("rules", i, "must"))), mirror)
        guard = guards.finish(nodes, first, block.hold, self.context.at("rules", i, "hold"), place)
        to = None
        if block.to is not None:
            to = self._everywhere(
                guards, mirror.phase(block.to) if mirror else block.to, self.context.at("rules", i, "to")
            )
        return Rule(block.name, guard, start, end, to, mirror is not None, place)


# kinds of names that have a mirror image
_MIRRORED = ("signal", "setpoint", "parameter", "counter", "event", "switch", "pulse")


def _names(found: list[str], declared: tuple[str, ...]) -> Names:
    return Names({name: i for i, name in enumerate(found)}, {*found, *declared})


def _is_sided(rule: RuleBlock, mirror: Mirror) -> bool:
    """Tell whether a rule names something that the mirror swaps."""
    stack = [block for block in (rule.while_, rule.must) if block is not None]
    while stack:
        block = stack.pop()
        stack += [*(block.all or ()), *(block.any or ()), *([block.not_] if block.not_ else [])]
        names = [*block.names.values(), *block.parameters]
        if any(mirror.name(name) != name for name in names):
            return True
        if any(mirror.phase(name) != name for name in block.in_ or ()):
            return True
    return False
