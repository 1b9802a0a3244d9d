"""The finished picture: blocks and arrows where the layout put them, ribbons on the left, title on top."""

import math
from dataclasses import dataclass

from sequencer.show.diagram.blocks import Block
from sequencer.show.diagram.graph import Graph, Link, Part
from sequencer.show.diagram.ink import (
    BLACK,
    FAULT,
    GREY,
    LIGHT,
    WHITE,
    Box,
    Group,
    Item,
    Line,
    Pen,
    Point,
    Poly,
    Text,
)
from sequencer.show.diagram.layout import Layout, Route
from sequencer.show.diagram.text import tidy

MARGIN = 20.0
GAP = 26.0
SHAPE = 1.5  # width to height of a page of several sequences, at most
_PENS = {"walk": Pen(BLACK, 1.9), "other": Pen(GREY, 1.1), "fault": Pen(FAULT, 1.2, dashed=True)}


@dataclass(frozen=True, slots=True)
class Page:
    """A picture with its size in points."""

    items: tuple[Item, ...]
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class _Tile:
    """One sequence, drawn with its top left corner at (0, 0)."""

    group: Group
    width: float
    height: float


def page_of(graph: Graph, layout: Layout) -> Page:
    """Compose a page from a graph and its layout."""
    tiles = [_tile(part, layout, framed=len(graph.parts) > 1) for part in graph.parts]
    top = MARGIN + graph.heading.height + 16
    items: list[Item] = [_placed(graph.heading, MARGIN, MARGIN)]
    y = top
    for ribbon in graph.ribbons:
        items.append(_placed(ribbon, MARGIN, y))
        y += ribbon.height + 16
    left = MARGIN + max(r.width for r in graph.ribbons) + GAP
    spots, width, height = _shelves(tiles)
    for tile, (dx, dy) in zip(tiles, spots, strict=True):
        items.append(Group((tile.group,), left + dx, top + dy))
    right = max(left + width, MARGIN + graph.heading.width if len(graph.parts) > 1 else 0)
    return Page(tuple(items), right + MARGIN, max(y - 16, top + height) + MARGIN)


def _shelves(tiles: list[_Tile]) -> tuple[list[tuple[float, float]], float, float]:
    """Set tiles in rows, as many in each as make a page of about `SHAPE` with few gaps at its end."""
    best: tuple[list[tuple[float, float]], float, float] = ([], 0.0, 0.0)
    least = math.inf
    for count in range(1, len(tiles) + 1):
        spots = []
        x = y = high = wide = 0.0
        for n, tile in enumerate(tiles):
            if n and n % count == 0:
                x, y, high = 0.0, y + high + GAP, 0.0
            spots.append((x, y))
            x += tile.width + GAP
            wide, high = max(wide, x - GAP), max(high, tile.height)
        total = y + high
        empty = -len(tiles) % count / (len(tiles) + -len(tiles) % count)
        badness = abs(math.log(wide / total / SHAPE)) + 2 * empty
        if badness < least:
            best, least = (spots, wide, total), badness
    return best


def _placed(block: Block, x: float, y: float) -> Group:
    return Group(block.items, x, y, name=block.name, title=block.title, kind=block.kind)


def _tile(part: Part, layout: Layout, *, framed: bool) -> _Tile:
    blocks = [(b, layout.nodes[b.name]) for b in part.blocks]
    routes = [(link, layout.routes[link.upper, link.lower]) for link in part.links]
    points = [p for _, route in routes for p in route.points]
    xs = [at.x - b.width / 2 for b, at in blocks] + [p[0] for p in points]
    ys = [at.y - b.height / 2 for b, at in blocks] + [p[1] for p in points]
    x0, y0 = min(xs), min(ys)
    x1 = max([at.x + b.width / 2 for b, at in blocks] + [p[0] for p in points])
    y1 = max([at.y + b.height / 2 for b, at in blocks] + [p[1] for p in points])
    edge, head = (14.0, 24.0) if framed else (0.0, 0.0)
    lines = [_arrow(link, route) for link, route in routes]
    cards = [_placed(b, at.x - b.width / 2, at.y - b.height / 2) for b, at in blocks]
    inner = Group((*lines, *cards), edge - x0, edge + head - y0)
    width, height = x1 - x0 + 2 * edge, y1 - y0 + 2 * edge + head
    items: list[Item] = [inner]
    if framed:
        items = [
            Box(0, 0, width, height, fill=WHITE, pen=Pen(LIGHT, 1.2), round=10),
            Text(edge, edge + 10, tidy(part.title), 14, bold=True),
            Text(width - edge, edge + 10, "sequence", 9, GREY, italic=True, anchor="end"),
            inner,
        ]
    group = Group(tuple(items), name=part.name, title=f"sequence {tidy(part.title)}", kind="sequence")
    return _Tile(group, width, height)


def _arrow(link: Link, route: Route) -> Group:
    pen = _PENS[link.kind]
    points = list(route.points)
    items: list[Item] = []
    if link.arrow == "lower" and route.at_head:
        items.append(_head(points[-1], route.at_head, pen))
    if link.arrow == "upper" and route.at_tail:
        items.append(_head(points[0], route.at_tail, pen))
    return Group(
        (Line(tuple(points), pen, curved=True), *items),
        name=f"link_{link.upper}_{link.lower}",
        kind=f"link {link.kind}",
    )


def _head(base: Point, tip: Point, pen: Pen) -> Poly:
    """Fill an arrow head from where the line ends to its tip."""
    dx, dy = tip[0] - base[0], tip[1] - base[1]
    length = (dx * dx + dy * dy) ** 0.5 or 1.0
    side = 0.42 * max(length, 6.0)
    nx, ny = -dy / length * side, dx / length * side
    return Poly(((base[0] + nx, base[1] + ny), tip, (base[0] - nx, base[1] - ny)), fill=pen.colour)
