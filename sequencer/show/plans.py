"""A plan as text for people: what the gait comes down to after mirror, for_each, parts and defaults."""

from collections.abc import Sequence as Rows

from sequencer.plan.tables import Loop, Output, Phase, Plan
from sequencer.plan.unpowered import unpowered_words
from sequencer.plan.words import (
    exit_words,
    given_unit,
    guard_words,
    level_words,
    ms_words,
    number_words,
    rule_words,
)
from sequencer.show.text import PLAIN, Style, clean, table


def plan_text(plan: Plan, style: Style = PLAIN) -> str:
    """Write the whole plan: inputs, setpoints, parameters, phases, what is watched, loops, outputs."""
    blocks = [_head(plan, style), _signals(plan, style), _setpoints(plan, style), _parameters(plan, style)]
    for index, sequence in enumerate(plan.sequences):
        title = f"phases of {sequence.name}" if len(plan.sequences) > 1 else "phases"
        lines = [style(clean(title), "bold")]
        for number, phase in enumerate(sequence.phases):
            lines += _phase(plan, index, number, phase)
        blocks.append("\n".join(lines))
    blocks += [_anywhere(plan, style), _rules(plan, style), _loops(plan, style), _outputs(plan, style)]
    return "\n\n".join(block for block in blocks if block)


def _head(plan: Plan, style: Style) -> str:
    lines = [style(f"{clean(plan.name)} on {clean(plan.machine)}", "bold")]
    if plan.about:
        lines.append(clean(plan.about))
    lines.append(f"tick {ms_words(plan.tick_ms)}, meaning {plan.sha}")
    inputs = [("events", plan.events), ("switches", plan.switches)]
    lines += [f"{kind}: {', '.join(clean(n.name) for n in names)}" for kind, names in inputs if names]
    if plan.remote is not None:
        carried = [plan.events[i].name for i in plan.remote.events]
        carried += [plan.switches[i].name for i in plan.remote.switches]
        lost = _lost(plan.remote.lost_after_ms)
        lines.append(f"remote carries {', '.join(map(clean, carried))}; {lost}")
    if plan.helping:
        lines.append("may be helped by hand and walk in single steps")
    return "\n".join(lines)


def _lost(after_ms: int | None) -> str:
    return "never lost" if after_ms is None else f"lost after {ms_words(after_ms)}"


def _section(title: str, head: tuple[str, ...], rows: Rows[tuple[str, ...]], style: Style) -> str:
    if not rows:
        return ""
    top, *lines = table(head, list(rows))
    return "\n".join([style(title, "bold"), "  " + style(top, "dim"), *("  " + line for line in lines)])


def _range(low: float, high: float, unit: str) -> str:
    return f"{low:.6g} to {number_words(high, unit)}"


def _signals(plan: Plan, style: Style) -> str:
    rows = [
        (
            s.name,
            _range(s.low, s.high, s.unit),
            f"{s.every_us / 1000:g} ms" if s.every_us else "",
            f"raw * {s.gain:.6g} {'-' if s.bias < 0 else '+'} {abs(s.bias):.6g}"
            + ("" if s.zero_from is None else f" - {plan.parameters[s.zero_from].name}"),
            _lost(s.lost_after_ms),
        )
        for s in plan.signals
    ]
    return _section("signals", ("name", "span", "every", "value", "silence"), rows, style)


def _setpoints(plan: Plan, style: Style) -> str:
    rows: list[tuple[str, ...]] = []
    for s in plan.setpoints:
        rate = "at once"
        if s.rate is not None:
            rate = number_words(s.rate.per_second, f"{s.unit}/s")
            if s.rate.parameter is not None:
                rate += f" * {plan.parameters[s.rate.parameter].name}"
        followers = [
            plan.signals[f.signal].name + (f" {f.offset:+.6g} {s.unit}" if f.offset else "")
            for f in s.followers
        ]
        owner = plan.sequences[s.owner].name if s.owner is not None else "nobody"
        rows.append((s.name, _range(s.low, s.high, s.unit), rate, ", ".join(followers) or "nothing", owner))
    head: tuple[str, ...] = ("name", "span", "rate", "followed by", "set by")
    if len(plan.sequences) == 1:
        head, rows = head[:-1], [row[:-1] for row in rows]
    return _section("setpoints", head, rows, style)


def _parameters(plan: Plan, style: Style) -> str:
    rows = [(p.name, number_words(p.value, p.unit), _range(p.low, p.high, p.unit)) for p in plan.parameters]
    return _section("parameters", ("name", "value", "span"), rows, style)


def _phase(plan: Plan, sequence: int, number: int, phase: Phase) -> list[str]:
    marks = ["start"] if number == 0 else []
    marks += ["rest"] if phase.rest else []
    marks += [f"stop category {phase.stop}"] if phase.stop is not None else []
    marks += [f"mirror image of {phase.mirrored_from}"] if phase.mirrored_from else []
    lines = [f"  {phase.name}" + (f" ({', '.join(marks)})" if marks else "")]
    power = unpowered_words(plan, phase)
    lines += [f"    {power}"] if power else []
    for command in phase.commands:
        setpoint = plan.setpoints[command.setpoint]
        lines.append(f"    set {setpoint.name} to {level_words(plan, command.level, setpoint.unit)}")
    for verb, kept, names in (
        ("keep", phase.keep, plan.setpoints),
        ("count", phase.count, plan.counters),
        ("reset", phase.reset, plan.counters),
        ("pulse", phase.pulse, plan.pulses),
    ):
        if kept:
            lines.append(f"    {verb} {', '.join(names[i].name for i in kept)}")
    lines += [f"    {i + 1}. {exit_words(plan, sequence, number, i)}" for i in range(len(phase.exits))]
    if phase.timeout is not None:
        to = plan.sequences[sequence].phases[phase.timeout.to].name
        lines.append(f"    fault after {ms_words(phase.timeout.after_ms)}: to {to}")
    elif phase.never_because:
        lines.append(f"    no timeout, because {phase.never_because}")
    return [line[: len(line) - len(line.lstrip())] + clean(line.lstrip()) for line in lines]


def _anywhere(plan: Plan, style: Style) -> str:
    lines = []
    for number, way in enumerate(plan.anywhere):
        to = plan.sequences[0].phases[way.to[0]].name  # every sequence has a phase of this name
        lines.append(f"  {number + 1}. to {clean(to)} when {clean(guard_words(plan, way.guard))}")
    return "\n".join([style("watched all the time", "bold"), *lines]) if lines else ""


def _rules(plan: Plan, style: Style) -> str:
    lines = []
    for index, rule in enumerate(plan.rules):
        side = " (mirrored)" if rule.mirrored else ""
        to = f"; if broken, to {plan.sequences[0].phases[rule.to[0]].name}" if rule.to is not None else ""
        lines.append(f"  {clean(rule.name)}{side}: {clean(rule_words(plan, index) + to)}")
    return "\n".join([style("rules", "bold"), *lines]) if lines else ""


def _loops(plan: Plan, style: Style) -> str:
    rows = []
    for index, loop in enumerate(plan.loops):
        to = [
            f"{other.name} * {adds.gain:.6g}"
            for other in plan.loops
            for adds in other.inputs
            if adds.loop == index
        ]
        if loop.output is not None:
            to = [plan.outputs[loop.output].name]
        gives = _range(loop.low, loop.high, given_unit(plan, index))
        if loop.limit_from is not None:
            gives = f"-{plan.parameters[loop.limit_from].name} to {plan.parameters[loop.limit_from].name}"
        signal = plan.signals[loop.signal].name
        rows.append((loop.name, signal, _reference(plan, loop), gives, ", ".join(to), _acting(plan, loop)))
    return _section("loops", ("name", "brings", "to", "gives", "adds to or drives", "acts"), rows, style)


def _reference(plan: Plan, loop: Loop) -> str:
    terms = [
        number_words(term.constant, loop.unit)
        if term.setpoint is None
        else plan.setpoints[term.setpoint].name
        for term in loop.terms
    ]
    terms += [plan.loops[adds.loop].name for adds in loop.inputs]
    return " + ".join(terms).replace("+ -", "- ")


def _acting(plan: Plan, loop: Loop) -> str:
    if loop.acts_in is None:
        return "always"
    several = len(plan.sequences) > 1
    names = [
        (f"{plan.sequences[entry.sequence].name}." if several else "")
        + plan.sequences[entry.sequence].phases[phase].name
        for entry in loop.acts_in
        for phase in entry.phases
    ]
    return f"in {', '.join(names)}" if names else "never"


def _outputs(plan: Plan, style: Style) -> str:
    rows = [
        (
            output.name,
            _range(output.low, output.high, "") + _cap(plan, output),
            "at once" if output.slew_step is None else f"{output.slew_step:.6g} a tick",
            _supply(plan, output),
            _stall(plan, output),
        )
        for output in plan.outputs
    ]
    return _section("outputs", ("name", "span", "slew", "supply", "stalled"), rows, style)


def _cap(plan: Plan, output: Output) -> str:
    if output.cap_from is not None:
        return f", at most {plan.parameters[output.cap_from].name}"
    return "" if output.cap is None else f", at most {output.cap:.6g}"


def _supply(plan: Plan, output: Output) -> str:
    supply = output.supply
    if supply is None:
        return ""
    signal = plan.signals[supply.signal]
    text = f"full scale at {number_words(supply.full_scale_at, signal.unit)} of {signal.name}"
    if supply.least is not None:
        text += f"; cut under {number_words(supply.least, signal.unit)} for {ms_words(supply.under_for_ms)}"
    return text


def _stall(plan: Plan, output: Output) -> str:
    stall = output.stall
    if stall is None:
        return "never"
    signal = plan.signals[stall.signal]
    moved = number_words(stall.moves, signal.unit)
    return (
        f"beyond {stall.above:.6g} for {ms_words(stall.for_ms)} while {signal.name} moves less than {moved}"
    )
