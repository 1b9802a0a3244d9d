"""The signs of a picture and what they mean; those that a plan does not use are not explained."""

from sequencer.plan.tables import Plan
from sequencer.show.diagram.blocks import SMALL, Sheet, fault_mark, order_mark
from sequencer.show.diagram.ink import (
    BLACK,
    FAULT,
    GREY,
    LIGHT,
    REST,
    WHITE,
    Box,
    Group,
    Item,
    Line,
    Oval,
    Pen,
)

_ROOM = 34.0  # width left for a sign, points

# drawn around the middle of their left edge
_RESTS: tuple[Item, ...] = (
    Box(0, -6, 26, 12, fill=REST, pen=Pen(BLACK, 0.9), round=4),
    Box(2, -4, 22, 8, pen=Pen(BLACK, 0.9), round=3),
)
_STOPS: tuple[Item, ...] = (Box(0, -6, 26, 12, pen=Pen(BLACK, 2)), Box(0, -6, 26, 5, fill=BLACK))
_FEET: tuple[Item, ...] = (
    Oval(7, 0, 3.6, 5.4, fill=BLACK, pen=Pen(BLACK, 1)),
    Oval(19, 0, 3.6, 5.4, fill=WHITE, pen=Pen(BLACK, 1)),
)
_TARGET: tuple[Item, ...] = (
    Line(((0, 0), (26, 0)), Pen(LIGHT, 2.4)),
    Line(((6, -4), (6, 4)), Pen(GREY, 1)),
    Oval(19, 0, 3, 3, fill=BLACK),
)
_WAYS: tuple[Item, ...] = (
    Line(((0, -3), (26, -3)), Pen(BLACK, 1.9)),
    Line(((0, 3), (26, 3)), Pen(GREY, 1.1)),
)


def signs(sheet: Sheet, plan: Plan, *, feet: bool) -> None:
    """Write the signs that are used onto a sheet, one below the other."""
    phases = [p for q in plan.sequences for p in q.phases]
    if any(p.rest for p in phases):
        _sign(sheet, _RESTS, "double frame: a phase the machine may rest in")
    if any(p.stop is not None for p in phases):
        _sign(
            sheet,
            _STOPS,
            "black band: a stop phase (categories as in IEC 60204-1). It is no emergency stop: "
            "that takes a switch of its own.",
        )
    if feet:
        _sign(sheet, _FEET, "feet from above, front on top, as commanded: black stands, hollow is lifted")
    if plan.setpoints:
        _sign(
            sheet,
            _TARGET,
            "a target within its span, tick = where it starts; hollow and grey: left over from earlier",
        )
    if any(p.timeout for p in phases):
        warning = tuple(fault_mark(13, 0, FAULT))
        _sign(sheet, warning, "a timer that ran out: a fault, never the way the walk goes on")
    if any(p.exits for p in phases):
        _sign(sheet, tuple(order_mark(13, 0, 1)), "guards are tried in this order; the first true one wins")
        _sign(sheet, _WAYS, "thick: the way the walk goes on; thin: other ways")


def _sign(sheet: Sheet, items: tuple[Item, ...], meaning: str) -> None:
    sheet.y += 4
    sheet.items.append(Group(items, sheet.left, sheet.y + 7))
    sheet.write(meaning, size=SMALL, indent=_ROOM)
