"""What a picture is made of, and how it becomes SVG.

Coordinates are points, x to the right and y downwards. A picture is a `Group`; nothing in it can run,
link or load anything, and every text is escaped on the way out.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape  # as XML needs it; the one of xml.sax loads a network stack

FONTS = "Helvetica,Arial,sans-serif"

BLACK = "#1a1a1a"
GREY = "#666666"
LIGHT = "#b5b5b5"
PALE = "#f1f1ee"
WHITE = "#ffffff"
FAULT = "#a33b00"
REST = "#e6f0f8"

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Pen:
    """An outline: colour, width in points, dashed or not."""

    colour: str = BLACK
    width: float = 1.0
    dashed: bool = False


@dataclass(frozen=True, slots=True)
class Text:
    """One line of text; y is its baseline, x its start, middle or end."""

    x: float
    y: float
    text: str
    size: float = 10.0
    colour: str = BLACK
    bold: bool = False
    italic: bool = False
    anchor: str = "start"


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle with corners of radius `round`."""

    x: float
    y: float
    width: float
    height: float
    fill: str | None = None
    pen: Pen | None = None
    round: float = 0.0


@dataclass(frozen=True, slots=True)
class Oval:
    """An ellipse."""

    x: float
    y: float
    rx: float
    ry: float
    fill: str | None = None
    pen: Pen | None = None


@dataclass(frozen=True, slots=True)
class Poly:
    """A closed polygon."""

    points: tuple[Point, ...]
    fill: str | None = None
    pen: Pen | None = None


@dataclass(frozen=True, slots=True)
class Line:
    """A chain of straight lines, or with `curved` of cubic Bezier pieces (1 + 3 n points)."""

    points: tuple[Point, ...]
    pen: Pen = Pen()
    curved: bool = False


@dataclass(frozen=True, slots=True)
class Group:
    """Items moved by (x, y); `name` is unique in the picture or empty, `title` is what a viewer tells."""

    items: "tuple[Item, ...]"
    x: float = 0.0
    y: float = 0.0
    name: str = ""
    title: str = ""
    kind: str = ""


Item = Text | Box | Oval | Poly | Line | Group


def svg_text(picture: Sequence[Item], width: float, height: float, title: str, about: str) -> str:
    """Return the picture as a stand-alone SVG document on its own white ground."""
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_n(width)}pt" height="{_n(height)}pt" '
        f'viewBox="0 0 {_n(width)} {_n(height)}" role="img" aria-labelledby="title desc" '
        f"font-family={_quoted(FONTS)}>",
        f'<title id="title">{escape(title, quote=False)}</title>',
        f'<desc id="desc">{escape(about, quote=False)}</desc>',
        f'<rect width="{_n(width)}" height="{_n(height)}" fill="{WHITE}"/>',
    ]
    _write(picture, lines)
    lines.append("</svg>")
    return "\n".join(lines) + "\n"


def _write(items: Iterable[Item], lines: list[str]) -> None:
    for item in items:
        if isinstance(item, Group):
            _write_group(item, lines)
        else:
            lines.append(_element(item))


def _write_group(group: Group, lines: list[str]) -> None:
    words = f" id={_quoted(group.name)}" if group.name else ""
    words += f" class={_quoted(group.kind)}" if group.kind else ""
    if group.x or group.y:
        words += f' transform="translate({_n(group.x)} {_n(group.y)})"'
    lines.append(f"<g{words}>")
    if group.title:
        lines.append(f"<title>{escape(group.title, quote=False)}</title>")
    _write(group.items, lines)
    lines.append("</g>")


def _element(item: Text | Box | Oval | Poly | Line) -> str:
    if isinstance(item, Text):
        return _text(item)
    if isinstance(item, Box):
        corner = f' rx="{_n(item.round)}"' if item.round else ""
        size = f'width="{_n(item.width)}" height="{_n(item.height)}"'
        return f'<rect x="{_n(item.x)}" y="{_n(item.y)}" {size}{corner}{_paint(item.fill, item.pen)}/>'
    if isinstance(item, Oval):
        middle = f'cx="{_n(item.x)}" cy="{_n(item.y)}"'
        return f'<ellipse {middle} rx="{_n(item.rx)}" ry="{_n(item.ry)}"{_paint(item.fill, item.pen)}/>'
    points = [f"{_n(x)},{_n(y)}" for x, y in item.points]
    if isinstance(item, Poly):
        return f'<polygon points="{" ".join(points)}"{_paint(item.fill, item.pen)}/>'
    step = "C" if item.curved else "L"
    return f'<path d="M{points[0]} {step}{" ".join(points[1:])}"{_paint(None, item.pen)}/>'


def _text(item: Text) -> str:
    look = f' font-size="{_n(item.size)}" fill="{item.colour}"'
    look += ' font-weight="bold"' if item.bold else ""
    look += ' font-style="italic"' if item.italic else ""
    look += f' text-anchor="{item.anchor}"' if item.anchor != "start" else ""
    return f'<text x="{_n(item.x)}" y="{_n(item.y)}"{look}>{escape(item.text, quote=False)}</text>'


def _paint(fill: str | None, pen: Pen | None) -> str:
    text = f' fill="{fill or "none"}"'
    if pen:
        text += f' stroke="{pen.colour}" stroke-width="{_n(pen.width)}"'
        text += ' stroke-dasharray="4 3"' if pen.dashed else ""
    return text


def _quoted(text: str) -> str:
    return f'"{escape(text)}"'


def _n(x: float) -> str:
    return f"{round(x, 2) + 0.0:.2f}".rstrip("0").rstrip(".")
