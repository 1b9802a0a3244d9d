"""The card of a phase: name, feet, commands, leftovers, and what is written on it instead of drawn."""

from dataclasses import dataclass, field
from pathlib import PureWindowsPath

from sequencer.base.places import Place
from sequencer.check.durations import Duration
from sequencer.plan.tables import Command, Phase, Plan
from sequencer.plan.words import guard_words, level_words, ms_words, number_words
from sequencer.show.diagram.blocks import PAD, SMALL, Block, Sheet, fault_mark, order_mark, pill
from sequencer.show.diagram.feet import Feet, State
from sequencer.show.diagram.ink import (
    BLACK,
    FAULT,
    GREY,
    LIGHT,
    PALE,
    REST,
    WHITE,
    Box,
    Item,
    Line,
    Oval,
    Pen,
    Poly,
)
from sequencer.show.diagram.targets import Targets, target_value
from sequencer.show.diagram.text import number, tidy
from sequencer.show.diagram.time_bar import time_bar
from sequencer.show.diagram.walk import Walk

CARD = 216.0  # width of a card, points
GAUGE = 34.0
STOPS = {
    0: "drives off at once",
    1: "controlled stop, then drives off",
    2: "controlled stop, drives stay on",
}


@dataclass(frozen=True, slots=True)
class Scene:
    """What every card of a sequence is drawn from."""

    plan: Plan
    sequence: int
    walk: Walk
    after: tuple[Targets, ...]
    feet: Feet | None
    ways_in: tuple[str, ...]  # per phase, how it is entered without an arrow, or empty
    marks: dict[int, str]  # phase -> what to say about it
    times: dict[int, Duration] = field(default_factory=dict)  # phase -> how long it takes, if that is wanted


def phase_name(sequence: int, phase: int) -> str:
    """Return the identifier of a phase's node."""
    return f"phase_{sequence}_{phase}"


def card(scene: Scene, phase: int) -> Block:
    """Build the card of one phase."""
    table = scene.plan.sequences[scene.sequence].phases[phase]
    sheet = Sheet(PAD, CARD - PAD, y=PAD - 2)
    feet = _feet(scene, phase)
    if table.stop is not None:
        sheet.y = 21.0
        sheet.lines.append(f"STOP, category {table.stop}")
    top = sheet.y
    if feet:
        sheet.notch, sheet.notch_y = feet.width + 4, top + feet.height - 1
    sheet.write(table.name, size=13, bold=True)
    _tags(sheet, table, starts=phase == 0)
    if table.about:
        sheet.write(table.about, size=SMALL, colour=GREY, italic=True, most=3)
    if feet:
        sheet.lines.append(feet.words)
    _commands(sheet, scene, phase)
    _leftovers(sheet, scene, phase)
    _doings(sheet, scene.plan, table)
    if phase in scene.times:
        time_bar(sheet, scene.times[phase])
    _written_exits(sheet, scene, phase)
    _timeout(sheet, scene, phase)
    if scene.ways_in[phase]:
        _rule_off(sheet)
        sheet.write(scene.ways_in[phase], size=SMALL, italic=True)
    items: list[Item] = [*sheet.items]
    if feet:
        sheet.y = max(sheet.y, top + feet.height + 1)
        items += feet.paint(CARD - PAD - feet.width, top + 1)
    return _framed(scene, phase, sheet, items)


def _framed(scene: Scene, phase: int, sheet: Sheet, items: list[Item]) -> Block:
    """Put the frame behind the items: double for rest, thick and square for stop, and the mark around it."""
    table = scene.plan.sequences[scene.sequence].phases[phase]
    mark = tidy(scene.marks.get(phase, ""))
    body = sheet.y + PAD - 2
    frame: list[Item] = []
    if mark:
        note = Sheet(PAD, CARD - PAD, y=body + 3)
        note.write(mark, colour=WHITE, bold=True)
        sheet.lines.append(mark)
        frame.append(Box(0, 0, CARD, note.y + 5, fill=BLACK, pen=Pen(BLACK, 5), round=5))
        items = items + note.items
        height = note.y + 5
    else:
        height = body
    if table.stop is not None:
        frame.append(Box(0, 0, CARD, body, fill=WHITE, pen=Pen(BLACK, 3)))
        frame.append(Box(0, 0, CARD, 18, fill=BLACK))
        band = Sheet(PAD, CARD - PAD, y=1.5)
        band.write(f"STOP, category {table.stop}", colour=WHITE, bold=True)
        frame += band.items
    elif table.rest:
        frame.append(Box(0, 0, CARD, body, fill=REST, pen=Pen(BLACK, 1), round=9))
        frame.append(Box(3, 3, CARD - 6, body - 6, pen=Pen(BLACK, 1), round=7))
    else:
        frame.append(Box(0, 0, CARD, body, fill=WHITE, pen=Pen(BLACK, 1.2), round=6))
    sequence = scene.plan.sequences[scene.sequence].name
    kind = "stop" if table.stop is not None else "rest" if table.rest else "step"
    return Block(
        name=phase_name(scene.sequence, phase),
        key=f"{sequence}/{table.name}",
        width=CARD,
        height=height,
        items=tuple(frame + items),
        lines=tuple(sheet.lines),
        title=tidy(f"{table.name}{where(table.place)}"),
        kind=f"phase {kind}",
    )


def where(*places: Place) -> str:
    """Return `` (file:line, ...)`` with bare file names: a picture tells nothing of the disk it came from."""
    bare = [
        f"{PureWindowsPath(p.file).name}:{p.line}" for p in places if p.file
    ]  # splits at both kinds of slash
    return f" ({', '.join(bare)})" if bare else ""


def _tags(sheet: Sheet, table: Phase, *, starts: bool) -> None:
    if table.stop is not None:
        sheet.write(STOPS[table.stop], size=SMALL, bold=True)
    x, y = sheet.left, sheet.y + 2
    for word, filled in (("starts here", True), ("rest", False)):
        if starts if filled else table.rest:
            items, x = pill(x, y, word, filled=filled)
            sheet.items += items
            sheet.lines.append(word)
            x += 4
            sheet.y = y + 15


def _commands(sheet: Sheet, scene: Scene, phase: int) -> None:
    plan = scene.plan
    for command in plan.sequences[scene.sequence].phases[phase].commands:
        setpoint = plan.setpoints[command.setpoint]
        value = target_value(plan, setpoint, command.level)
        sheet.y += 2
        _gauge(sheet, scene, command.setpoint, [value], filled=True)
        sheet.write(target_words(plan, command), indent=GAUGE + 8)


def target_words(plan: Plan, command: Command) -> str:
    """Return a command in words: ``lean 15 deg = lean_angle``."""
    setpoint = plan.setpoints[command.setpoint]
    text = f"{setpoint.name} {number_words(target_value(plan, setpoint, command.level), setpoint.unit)}"
    if command.level.parameter is None:
        return text
    return f"{text} = {level_words(plan, command.level, setpoint.unit)}"


def _leftovers(sheet: Sheet, scene: Scene, phase: int) -> None:
    """Say in grey which targets stay from earlier phases, unless they are where the machine started."""
    plan = scene.plan
    table = plan.sequences[scene.sequence].phases[phase]
    for i, setpoint in enumerate(plan.setpoints):
        left = scene.after[phase][i]
        values = sorted(left)
        if not values or any(c.setpoint == i for c in table.commands) or values == [setpoint.start]:
            continue
        told = " or ".join(number(v) for v in values) if len(values) <= 3 else f"one of {len(values)} targets"
        unit = f" {setpoint.unit}" if len(values) <= 3 else ""
        kept = "kept" if i in table.keep else "left over"
        sheet.y += 2
        _gauge(sheet, scene, i, values[:3], filled=False)
        sheet.write(f"{setpoint.name} {told}{unit} ({kept})", size=9, colour=GREY, indent=GAUGE + 8)


def _gauge(sheet: Sheet, scene: Scene, index: int, values: list[float], *, filled: bool) -> None:
    """Paint the setpoint's span as a bar with its start as a tick and its targets as dots."""
    setpoint = scene.plan.setpoints[index]
    span = setpoint.high - setpoint.low
    y = sheet.y + 7
    left = sheet.left + 3

    def at(value: float) -> float:
        return left + (GAUGE - 6) * ((value - setpoint.low) / span if span > 0 else 0.5)

    colour = BLACK if filled else GREY
    start = at(min(max(setpoint.start, setpoint.low), setpoint.high))
    sheet.items.append(Line(((left, y), (left + GAUGE - 6, y)), Pen(LIGHT, 2.4)))
    sheet.items.append(Line(((start, y - 4), (start, y + 4)), Pen(GREY, 1)))
    if filled and len(values) == 1:
        sheet.items.append(Line(((start, y), (at(values[0]), y)), Pen(BLACK, 2.4)))
    for value in values:
        sheet.items.append(Oval(at(value), y, 3, 3, fill=BLACK if filled else WHITE, pen=Pen(colour, 1)))


def _doings(sheet: Sheet, plan: Plan, table: Phase) -> None:
    said = [f"counts {plan.counters[i].name}" for i in table.count]
    said += [f"sets {plan.counters[i].name} to 0" for i in table.reset]
    said += [f"pulses {plan.pulses[i].name}" for i in table.pulse]
    for text in said:
        y = sheet.y + 9
        sheet.items.append(Poly(((12, y - 4), (18, y), (12, y + 4)), fill=BLACK))
        sheet.y += 2
        sheet.write(text, indent=14)


def _written_exits(sheet: Sheet, scene: Scene, phase: int) -> None:
    table = scene.plan.sequences[scene.sequence].phases[phase]
    for k, leave in enumerate(table.exits):
        if (phase, k) in scene.walk.drawn_exits:
            continue
        _rule_off(sheet)
        sheet.items += order_mark(sheet.left + 6, sheet.y + 7, k + 1)
        to = scene.plan.sequences[scene.sequence].phases[leave.to].name
        again = "starts over" if leave.to == phase else f"→ {to}"
        text = f"{sentence(scene.plan, leave.guard)} {again}"
        sheet.write(text, size=9, indent=17, said=f"{k + 1}. ")


def sentence(plan: Plan, guard: int) -> str:
    """Return a guard with its hold as one sentence."""
    return f"when {guard_words(plan, guard)}"


def _timeout(sheet: Sheet, scene: Scene, phase: int) -> None:
    sheet.y = max(sheet.y, sheet.notch_y + 2)
    table = scene.plan.sequences[scene.sequence].phases[phase]
    if table.never_because:
        sheet.write(f"no timeout: {table.never_because}", size=SMALL, colour=GREY, italic=True)
    if not table.timeout or phase in scene.walk.drawn_timeouts:
        return
    sheet.y += 4
    sheet.items.append(Line(((0, sheet.y), (CARD, sheet.y)), Pen(FAULT, 1, dashed=True)))
    sheet.items += fault_mark(sheet.left + 6, sheet.y + 9.5, FAULT)
    sheet.y += 2
    to = scene.plan.sequences[scene.sequence].phases[table.timeout.to].name
    sheet.write(f"fault after {ms_words(table.timeout.after_ms)} → {to}", colour=FAULT, bold=True, indent=17)


def _rule_off(sheet: Sheet) -> None:
    sheet.y = max(sheet.y, sheet.notch_y) + 4
    sheet.items.append(Line(((sheet.left, sheet.y), (sheet.right, sheet.y)), Pen(LIGHT, 0.7)))
    sheet.y += 2


@dataclass(frozen=True, slots=True)
class _Stand:
    """The machine from above with the front on top."""

    rows: tuple[int, ...]
    states: dict[tuple[int, str], State]
    words: str

    width = 38.0

    @property
    def height(self) -> float:
        return 17.0 * len(self.rows) + 2

    def paint(self, x: float, y: float) -> list[Item]:
        """Paint body and feet with the top left corner at (x, y)."""
        items: list[Item] = [
            Box(x + 14, y + 4, 10, self.height - 5, fill=PALE, pen=Pen(GREY, 0.8), round=5),
            Poly(((x + 19, y), (x + 22, y + 4), (x + 16, y + 4)), fill=GREY),
        ]
        for n, row in enumerate(self.rows):
            for side, cx in (("left", x + 6.5), ("right", x + 31.5)):
                state = self.states.get((row, side))
                cy = y + 10 + 17 * n
                if state == "down":
                    items.append(Oval(cx, cy, 4.6, 6.8, fill=BLACK, pen=Pen(BLACK, 1.2)))
                elif state == "up":
                    items.append(Oval(cx, cy, 4.6, 6.8, fill=WHITE, pen=Pen(BLACK, 1.2)))
                elif state:
                    items.append(Oval(cx, cy, 1.6, 1.6, fill=LIGHT))
        return items


def _feet(scene: Scene, phase: int) -> _Stand | None:
    feet = scene.feet
    if not feet:
        return None
    states = feet.states(scene.after[phase])
    if all(state == "untold" for state in states):
        return None
    ups = [_foot_words(f.row, f.side, feet) for f, s in zip(feet.feet, states, strict=True) if s == "up"]
    downs = [_foot_words(f.row, f.side, feet) for f, s in zip(feet.feet, states, strict=True) if s == "down"]
    words = "; ".join([f"down: {', '.join(downs)}"] * bool(downs) + [f"lifted: {', '.join(ups)}"] * bool(ups))
    by_place: dict[tuple[int, str], State] = {
        (f.row, f.side): s for f, s in zip(feet.feet, states, strict=True)
    }
    return _Stand(tuple(sorted({f.row for f in feet.feet})), by_place, f"feet {words}")


def _foot_words(row: int, side: str, feet: Feet) -> str:
    rows = sorted({f.row for f in feet.feet})
    if len(rows) == 1:
        return side
    names = ("front", "hind") if len(rows) == 2 else ("front", "middle", "hind")
    return f"{side} {names[rows.index(row)]}" if len(rows) <= 3 else f"{side} {rows.index(row) + 1}"
