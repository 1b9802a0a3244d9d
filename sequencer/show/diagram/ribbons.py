"""What stands beside the walk: what is watched all the time, the rules, the signs, the title."""

from sequencer.plan.tables import Plan
from sequencer.plan.words import rule_words
from sequencer.show.diagram.blocks import PAD, SMALL, Block, Sheet, order_mark
from sequencer.show.diagram.cards import sentence, where
from sequencer.show.diagram.ink import (
    BLACK,
    GREY,
    PALE,
    WHITE,
    Item,
    Line,
    Pen,
    Poly,
    Text,
)
from sequencer.show.diagram.signs import signs
from sequencer.show.diagram.text import tidy

RIBBON = 224.0
_HEAD = 22.0
_NOTCH = 9.0


def ribbons(plan: Plan, *, feet: bool) -> list[Block]:
    """Return the ribbons of a plan from the top down; those with nothing to say are left out."""
    found = []
    if plan.anywhere:
        found.append(_watched(plan))
    if plan.rules:
        found.append(_rules(plan))
    found.append(_reading(plan, feet=feet))
    return found


def _destination(plan: Plan, to: tuple[int, ...]) -> str:
    names = {q.phases[i].name for q, i in zip(plan.sequences, to, strict=True)}
    each = " in every sequence" if len(plan.sequences) > 1 else ""
    return f"→ {' / '.join(sorted(names))}{each}"


def _watched(plan: Plan) -> Block:
    sheet = _sheet()
    sheet.lines.append("watched all the time")
    sheet.write("In every phase, before its own guards, in this order:", size=SMALL, colour=GREY, italic=True)
    for n, watch in enumerate(plan.anywhere):
        sheet.y += 5
        sheet.items += order_mark(sheet.left + 6, sheet.y + 7, n + 1)
        sheet.write(sentence(plan, watch.guard), indent=18, said=f"{n + 1}. ")
        sheet.write(_destination(plan, watch.to), bold=True, indent=18)
    places = where(*(w.place for w in plan.anywhere))
    return _ribbon("watched", "watched all the time", sheet, places)


def _rules(plan: Plan) -> Block:
    sheet = _sheet()
    sheet.lines.append("must hold at every tick")
    for n, rule in enumerate(plan.rules):
        sheet.y += 5
        y = sheet.y + 7
        sheet.items.append(
            Line(((sheet.left + 2, y), (sheet.left + 5, y + 3), (sheet.left + 10, y - 4)), Pen(BLACK, 1.6))
        )
        sheet.write(rule.name, bold=True, indent=18)
        sheet.write(rule_words(plan, n), indent=18)
        then = _destination(plan, rule.to) if rule.to else "if broken: only reported"
        sheet.write(f"if broken {then}" if rule.to else then, size=SMALL, colour=GREY, italic=True, indent=18)
    places = where(*(r.place for r in plan.rules))
    return _ribbon("rules", "must hold at every tick", sheet, places)


def _reading(plan: Plan, *, feet: bool) -> Block:
    sheet = _sheet()
    sheet.lines.append("how to read it")
    signs(sheet, plan, feet=feet)
    return _ribbon("reading", "how to read it", sheet, "")


def _sheet() -> Sheet:
    return Sheet(PAD, RIBBON - PAD, y=_HEAD + 6)


def _ribbon(name: str, head: str, sheet: Sheet, places: str) -> Block:
    """Put a band with a swallow-tailed end over a pale strip."""
    height = sheet.y + PAD
    quiet = name == "reading"
    band, word = (PALE, BLACK) if quiet else (BLACK, WHITE)
    tail = ((0, 0), (RIBBON, 0), (RIBBON - _NOTCH, _HEAD / 2), (RIBBON, _HEAD), (0, _HEAD))
    items: list[Item] = [
        Line(((0.5, _HEAD), (0.5, height), (RIBBON - _NOTCH, height)), Pen(BLACK, 1)),
        Poly(tail, fill=band, pen=Pen(BLACK, 1)),
        Text(PAD, 15, head, 11.5, word, bold=True),
        *sheet.items,
    ]
    title = tidy(f"{head}{places}")
    return Block(f"ribbon_{name}", name, RIBBON, height, tuple(items), tuple(sheet.lines), title, "ribbon")


def heading(plan: Plan, width: float) -> Block:
    """Build the title: the gait's name, what it is about, the machine and its tick."""
    sheet = Sheet(0, width)
    sheet.write(plan.name, size=20, bold=True)
    if plan.about:
        sheet.y += 2
        sheet.write(plan.about, size=11)
    sheet.y += 2
    sheet.write(f"machine {plan.machine}, one tick every {plan.tick_ms} ms", size=9, colour=GREY)
    return Block(
        "heading",
        "heading",
        width,
        sheet.y,
        tuple(sheet.items),
        tuple(sheet.lines),
        tidy(plan.name),
        "heading",
    )
