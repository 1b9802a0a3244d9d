"""The sentences on the arrows: a guard with its order number, or a timeout that is drawn."""

from sequencer.plan.tables import Plan
from sequencer.plan.words import ms_words
from sequencer.show.diagram.blocks import Block, Sheet, fault_mark, order_mark
from sequencer.show.diagram.cards import sentence, where
from sequencer.show.diagram.ink import FAULT, WHITE, Box, Item, Pen
from sequencer.show.diagram.text import tidy

TAG = 172.0  # widest sentence, points
_INDENT = 20.0


def guard_name(sequence: int, phase: int, exit_index: int) -> str:
    """Return the identifier of a guard's node."""
    return f"guard_{sequence}_{phase}_{exit_index}"


def guard_tag(plan: Plan, sequence: int, phase: int, exit_index: int) -> Block:
    """Build the sentence of one guard."""
    table = plan.sequences[sequence].phases[phase]
    leave = table.exits[exit_index]
    sheet = Sheet(_INDENT, TAG - 4, y=2)
    sheet.write(sentence(plan, leave.guard), said=f"{exit_index + 1}. ")
    width = min(TAG, sheet.widest() + 4)
    to = plan.sequences[sequence].phases[leave.to].name
    items: list[Item] = [
        Box(0, 0, width, sheet.y + 4, fill=WHITE),
        *order_mark(9, 9, exit_index + 1),
        *sheet.items,
    ]
    return Block(
        name=guard_name(sequence, phase, exit_index),
        key=f"{plan.sequences[sequence].name}/{table.name}/{exit_index + 1}",
        width=width,
        height=sheet.y + 4,
        items=tuple(items),
        lines=tuple(sheet.lines),
        title=tidy(f"guard {exit_index + 1} of {table.name}, to {to}{where(leave.place)}"),
        kind="guard",
    )


def timeout_tag(plan: Plan, sequence: int, phase: int) -> Block:
    """Build the note on the arrow of a phase's timeout."""
    table = plan.sequences[sequence].phases[phase]
    assert table.timeout is not None
    sheet = Sheet(_INDENT + 2, TAG, y=3)
    sheet.write(f"fault after {ms_words(table.timeout.after_ms)}", colour=FAULT, bold=True)
    width, height = sheet.widest() + 6, sheet.y + 5
    frame = Box(0, 0, width, height, fill=WHITE, pen=Pen(FAULT, 1, dashed=True), round=4)
    return Block(
        name=f"fault_{sequence}_{phase}",
        key=f"{plan.sequences[sequence].name}/{table.name}/timeout",
        width=width,
        height=height,
        items=(frame, *fault_mark(11, height / 2, FAULT), *sheet.items),
        lines=tuple(sheet.lines),
        title=tidy(f"timeout of {table.name}{where(table.timeout.place)}"),
        kind="fault",
    )
