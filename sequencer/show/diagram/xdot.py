"""A picture as graphviz's own drawing operations, for the formats that only a system `dot` can write.

The operations are those of the xdot format, version 1.7 (graphviz.org, "xdot"). They go into the
`_background` attribute of a graph that has nothing but two invisible corners. There y runs upwards.
"""

from collections.abc import Iterable, Sequence

import graphviz

from sequencer.show.diagram.ink import FONTS, WHITE, Box, Group, Item, Line, Oval, Pen, Point, Poly, Text

_CORNER = 0.5523  # control points of a quarter circle as a cubic Bezier curve
_RAISED = (
    0.2  # graphviz sets the text of a background higher than it says, by this share of its size (measured)
)
_ANCHOR = {"start": -1, "middle": 0, "end": 1}


def xdot_source(picture: Sequence[Item], width: float, height: float) -> str:
    """Return a graph for the layout engine `nop2` that paints the picture on a white ground."""
    ops: list[str] = []
    _write([Box(0, 0, width, height, fill=WHITE), *picture], 0.0, 0.0, height, ops)
    graph = graphviz.Graph(
        graph_attr={"_background": _folded(ops), "pad": "0", "margin": "0"},
        node_attr={"shape": "point", "width": "0.01", "style": "invis"},
    )
    graph.node("a", pos="0,0")
    graph.node("b", pos=f"{_n(width)},{_n(height)}")
    return str(graph.source)


def _write(items: Iterable[Item], dx: float, dy: float, top: float, ops: list[str]) -> None:
    def at(points: Iterable[Point]) -> str:
        return " ".join(f"{_n(x + dx)} {_n(top - y - dy)}" for x, y in points)

    for item in items:
        if isinstance(item, Group):
            _write(item.items, dx + item.x, dy + item.y, top, ops)
        elif isinstance(item, Text):
            look = (1 if item.bold else 0) | (2 if item.italic else 0)
            text = item.text.replace("\\", "\u2216")  # a backslash may not stand before a quote in DOT text
            ops += [f"F {_n(item.size)} {_counted(FONTS)}", f"t {look}", f"c {_counted(item.colour)}"]
            ops.append(
                f"T {at([(item.x, item.y + _RAISED * item.size)])} {_ANCHOR[item.anchor]} 0 {_counted(text)}"
            )
        elif isinstance(item, Line):
            _pen(item.pen, ops)
            ops.append(f"{'B' if item.curved else 'L'} {len(item.points)} {at(item.points)}")
        elif isinstance(item, Oval):
            shape = f"{at([(item.x, item.y)])} {_n(item.rx)} {_n(item.ry)}"
            _filled(item.fill, item.pen, f"E {shape}", f"e {shape}", ops)
        elif isinstance(item, Box) and item.round:
            outline = _rounded(item)
            curve = f"{len(outline)} {at(outline)}"
            _filled(item.fill, item.pen, f"b {curve}", f"B {curve}", ops)
        else:
            corners = item.points if isinstance(item, Poly) else _corners(item)
            shape = f"{len(corners)} {at(corners)}"
            _filled(item.fill, item.pen, f"P {shape}", f"p {shape}", ops)


def _filled(fill: str | None, pen: Pen | None, filled: str, outline: str, ops: list[str]) -> None:
    """Paint a shape; filled operations also draw the outline, so without a pen it gets the fill's colour."""
    if fill:
        _pen(Pen(fill, 0.1), ops)
        ops += [f"C {_counted(fill)}", filled]
    if pen:
        _pen(pen, ops)
        ops.append(outline)


def _pen(pen: Pen, ops: list[str]) -> None:
    ops.append(f"c {_counted(pen.colour)}")
    ops.append(f"S {_counted('dashed' if pen.dashed else 'solid')}")
    ops.append(f"S {_counted(f'setlinewidth({_n(pen.width)})')}")


def _corners(box: Box) -> tuple[Point, ...]:
    right, bottom = box.x + box.width, box.y + box.height
    return ((box.x, box.y), (right, box.y), (right, bottom), (box.x, bottom))


def _rounded(box: Box) -> tuple[Point, ...]:
    """Return a closed cubic Bezier outline: four sides and four quarter circles."""
    r = min(box.round, box.width / 2, box.height / 2)
    k = r * (1 - _CORNER)
    x0, y0, x1, y1 = box.x, box.y, box.x + box.width, box.y + box.height
    outline: list[Point] = [(x0 + r, y0)]
    for side, bend_a, bend_b, end in (
        ((x1 - r, y0), (x1 - k, y0), (x1, y0 + k), (x1, y0 + r)),
        ((x1, y1 - r), (x1, y1 - k), (x1 - k, y1), (x1 - r, y1)),
        ((x0 + r, y1), (x0 + k, y1), (x0, y1 - k), (x0, y1 - r)),
        ((x0, y0 + r), (x0, y0 + k), (x0 + k, y0), (x0 + r, y0)),
    ):
        outline += [outline[-1], side, side, bend_a, bend_b, end]
    return tuple(outline)


def _folded(ops: list[str]) -> str:
    """Join operations with folded lines between: graphviz reads at most 16 kB of a text at a time."""
    return " \\\n".join(" ".join(ops[i : i + 50]) for i in range(0, len(ops), 50))


def _counted(text: str) -> str:
    return f"{len(text.encode())} -{text}"


def _n(x: float) -> str:
    return f"{round(x, 2) + 0.0:.2f}".rstrip("0").rstrip(".")
