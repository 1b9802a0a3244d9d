"""A block of a picture in the making: lines set one below the other, and the same lines as plain text."""

from dataclasses import dataclass, field

from sequencer.show.diagram.ink import BLACK, WHITE, Box, Item, Line, Oval, Pen, Poly, Text
from sequencer.show.diagram.text import run_width, tidy, wrap

BODY = 10.0  # type size of running text, points
SMALL = 8.5
LEADING = 1.28  # line distance in type sizes
PAD = 9.0


@dataclass(frozen=True, slots=True)
class Block:
    """A finished block: its size in points, what is painted, its texts, and what a viewer tells about it.

    name: identifier in the graph, made of letters and digits only. key: the same thing by the plan's names.
    """

    name: str
    key: str
    width: float
    height: float
    items: tuple[Item, ...]
    lines: tuple[str, ...]
    title: str
    kind: str


@dataclass(slots=True)
class Sheet:
    """Sets text from the top down in a column from `left` to `right`.

    Lines that begin above `notch_y` leave `notch` points on the right for a picture.
    """

    left: float
    right: float
    y: float = 0.0
    notch: float = 0.0
    notch_y: float = 0.0
    items: list[Item] = field(default_factory=list)
    lines: list[str] = field(default_factory=list)

    def write(
        self,
        text: str,
        *,
        size: float = BODY,
        colour: str = BLACK,
        bold: bool = False,
        italic: bool = False,
        indent: float = 0.0,
        most: int = 0,
        said: str = "",
    ) -> None:
        """Set a text, wrapped; its plain form begins with `said`."""
        room = self.right - self.left - indent - (self.notch if self.y < self.notch_y else 0)
        for line in wrap(tidy(text), room, size, bold=bold, most=most):
            self.y += size * LEADING
            baseline = self.y - size * (LEADING - 1) - size * 0.12
            self.items.append(Text(self.left + indent, baseline, line, size, colour, bold, italic))
            self.lines.append(said + line)
            said = ""

    def widest(self) -> float:
        """Return the x at which the widest line ends."""
        texts = [i for i in self.items if isinstance(i, Text) and i.anchor == "start"]
        return max((t.x + run_width(t.text, t.size, bold=t.bold) for t in texts), default=self.left)


def order_mark(x: float, y: float, order: int) -> list[Item]:
    """Paint a guard's order number in a ring around (x, y)."""
    return [
        Oval(x, y, 6.2, 6.2, fill=WHITE, pen=Pen(BLACK, 0.9)),
        Text(x, y + 2.9, str(order), 8.0, bold=True, anchor="middle"),
    ]


def fault_mark(x: float, y: float, colour: str) -> list[Item]:
    """Paint a small triangle with a stroke in it around (x, y): here a timer has run out."""
    return [
        Poly(((x, y - 5.5), (x + 6, y + 4.5), (x - 6, y + 4.5)), fill=WHITE, pen=Pen(colour, 1.2)),
        Line(((x, y - 1.5), (x, y + 1.2)), Pen(colour, 1.2)),
        Oval(x, y + 3.0, 0.7, 0.7, fill=colour),
    ]


def pill(x: float, y: float, text: str, *, filled: bool = False) -> tuple[list[Item], float]:
    """Paint a word in a rounded frame whose top left is (x, y); return it and where it ends."""
    width = run_width(text, SMALL, bold=True) + 10
    colour = WHITE if filled else BLACK
    frame = Box(x, y, width, 13, fill=BLACK if filled else WHITE, pen=Pen(BLACK, 0.9), round=6.5)
    return [frame, Text(x + width / 2, y + 9.5, text, SMALL, colour, bold=True, anchor="middle")], x + width
