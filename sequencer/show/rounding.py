"""What int16 changes against binary32, as text and as a JSON document."""

import math
from dataclasses import asdict
from typing import Any

from sequencer.history.amounts import amount, at, duration
from sequencer.history.blocks import FALSE, TRUE
from sequencer.history.rounding import Decision, Parting, Rounding, Shift
from sequencer.history.run import Transition
from sequencer.plan.tables import Plan
from sequencer.plan.words import guard_words, rule_words
from sequencer.show.jsonout import document
from sequencer.show.runs import short_cause
from sequencer.show.text import PLAIN, Style, clean

MOST_SHIFTS = 12
_TRUTHS = {FALSE: "false", TRUE: "true"}
_JUDGED = {FALSE: "kept", TRUE: "broken"}  # a rule's guard is true where it is broken


def rounding_text(found: Rounding, style: Style = PLAIN) -> str:
    """Write every guard that decides differently, and the transitions that are earlier or later."""
    compared = f"{found.ticks} ticks and {found.transitions} transitions compared"
    if not found.differs:
        return style(f"no decision differs: {compared}", "bold")
    lines = [line for decision in found.decisions for line in _decision(found.plan, decision, style)]
    lines += [_shift(found.plan, shift) for shift in found.shifts[:MOST_SHIFTS]]
    if len(found.shifts) > MOST_SHIFTS:
        lines.append(f"and {len(found.shifts) - MOST_SHIFTS} transitions more are earlier or later")
    lines += [_parting(found.plan, parting) for parting in found.partings]
    return "\n".join([*map(clean, lines), style(f"{_summary(found)}: {compared}", "bold")])


def _summary(found: Rounding) -> str:
    earlier = sum(shift.later_ms < 0 for shift in found.shifts)
    guards = len(found.decisions)
    return (
        f"{guards} guard{'' if guards == 1 else 's'} decided differently in int16; transitions: "
        f"{earlier} earlier, {len(found.shifts) - earlier} later"
    )


def _decision(plan: Plan, it: Decision, style: Style) -> tuple[str, str]:
    ticks = "one tick" if it.ticks == 1 else f"{it.ticks} ticks"
    words = _JUDGED if it.kind == "rule" else _TRUTHS
    int16 = _came_out(words.get(it.truth_int16, "unknown"), it.margin_int16, it.unit)
    binary32 = _came_out(words.get(it.truth_binary32, "unknown"), it.margin_binary32, it.unit)
    return (
        f"{style(_where(plan, it), 'bold')}: {_words(plan, it)}",
        f"    in {ticks}, first at {at(it.at_ms)}: int16 {int16}, binary32 {binary32}",
    )


def _where(plan: Plan, it: Decision) -> str:
    if it.kind == "rule":
        return f"rule {plan.rules[it.number].name}"
    if it.kind == "anywhere":
        return f"anywhere {it.number + 1}"
    return f"{_phase(plan, it.sequence, it.phase)}, guard {it.number + 1}"


def _words(plan: Plan, it: Decision) -> str:
    return rule_words(plan, it.number) if it.kind == "rule" else guard_words(plan, it.guard)


def _phase(plan: Plan, sequence: int, phase: int) -> str:
    table = plan.sequences[sequence]
    name = table.phases[phase].name
    return name if len(plan.sequences) == 1 else f"{name} of {table.name}"


def _came_out(word: str, margin: float, unit: str | None) -> str:
    """Say how a guard came out, and by how much."""
    if unit is None or not math.isfinite(margin):
        return word
    return f"{word} (by {amount(abs(margin), unit)})"


def _shift(plan: Plan, shift: Shift) -> str:
    move, later = shift.int16, shift.later_ms
    when = f"{duration(abs(later))} {'later' if later > 0 else 'earlier'}"
    return f"{_move(plan, move)} at {at(move.at_ms)} comes {when} in int16"


def _move(plan: Plan, move: Transition) -> str:
    entered = _phase(plan, move.sequence, move.entered)
    return f"{entered} by {short_cause(move.kind, move.index)}"


def _parting(plan: Plan, parting: Parting) -> str:
    whole, plain = (
        "no further transition" if move is None else f"{_move(plan, move)} at {at(move.at_ms)}"
        for move in (parting.int16, parting.binary32)
    )
    return f"from here on they part: int16 has {whole}, binary32 has {plain}"


def rounding_document(found: Rounding) -> str:
    """Return all of it; truths are 0 false, 1 unknown, 2 true. Times are in ms."""
    plan = found.plan
    content: dict[str, Any] = {
        "gait": plan.name,
        "machine": plan.machine,
        "meaning": plan.sha,
        "differs": found.differs,
        "ticks": found.ticks,
        "transitions": found.transitions,
        "decisions": [
            {**asdict(it), "where": _where(plan, it), "words": _words(plan, it)} for it in found.decisions
        ],
        "shifts": [
            {"to": _move(plan, s.int16), "at_ms": s.int16.at_ms, "later_ms": s.later_ms} for s in found.shifts
        ],
        "partings": [_parting(plan, parting) for parting in found.partings],
    }
    return document("rounding", content)
