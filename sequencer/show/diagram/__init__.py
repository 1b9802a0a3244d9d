"""The diagram of a walk.

Every phase is a card with its feet and its commands, every guard a sentence on its arrow; what is watched all
the time stands once, on a ribbon beside the walk. graphviz decides where things go; the picture itself is
painted here, so that it is the same with either layout engine.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from sequencer.base.errors import MisuseError
from sequencer.base.files import write_whole
from sequencer.plan.tables import Plan
from sequencer.show.diagram.graph import graph_of, source_of
from sequencer.show.diagram.ink import svg_text
from sequencer.show.diagram.layout import Engine, convert, lay_out, require_dot
from sequencer.show.diagram.page import page_of

FORMATS = ("svg", "png", "pdf", "dot", "gv")


@dataclass(frozen=True, slots=True)
class DiagramOptions:
    """How a diagram is drawn.

    highlight: ``phase`` or ``sequence/phase`` -> a short text to mark it with, e.g. where a run waited.
    times: cards say how long their phases take, with a bar up to the timeout.
    engine: "auto" takes a system `dot` if there is one, else "wasm"; "system" and "wasm" insist.
    """

    highlight: Mapping[str, str] = field(default_factory=dict)
    engine: Engine = "auto"
    times: bool = False


_PLAIN = DiagramOptions()


def diagram_source(plan: Plan, options: DiagramOptions = _PLAIN) -> str:
    """Return the diagram as DOT text that any graphviz can lay out.

    Same plan, same text; no date, no path. Raises MisuseError if a highlighted phase is not there.
    """
    return source_of(graph_of(plan, options.highlight, times=options.times))


def diagram_bytes(plan: Plan, file_format: str, options: DiagramOptions = _PLAIN) -> bytes:
    """Return the diagram in one of `FORMATS`.

    Raises MisuseError for another format or an unknown phase, ToolError if PNG or PDF is asked for and there
    is no system `dot`, or if the layout fails.
    """
    if file_format not in FORMATS:
        raise MisuseError(
            f"a diagram cannot be written as {file_format}", hint=f"one of {', '.join(FORMATS)}"
        )
    graph = graph_of(plan, options.highlight, times=options.times)
    source = source_of(graph)
    if file_format in ("dot", "gv"):
        return source.encode()
    if file_format == "svg":
        page = page_of(graph, lay_out(source, options.engine))
        return svg_text(page.items, page.width, page.height, graph.name, graph.about).encode()
    from sequencer.show.diagram.xdot import xdot_source

    require_dot(file_format)
    page = page_of(graph, lay_out(source, options.engine))
    return convert(xdot_source(page.items, page.width, page.height), file_format)


def draw(
    plan: Plan, out_path: str | Path, file_format: str | None = None, options: DiagramOptions = _PLAIN
) -> Path:
    """Write the diagram to a file, whole or not at all; the format is the name's ending if not given.

    Raises what `diagram_bytes` raises, and MisuseError if the file cannot be written.
    """
    out_path = Path(out_path)
    content = diagram_bytes(plan, (file_format or out_path.suffix.lstrip(".")).lower(), options)
    try:
        write_whole(out_path, content)
    except OSError as error:
        raise MisuseError(f"{out_path} cannot be written: {error.strerror}") from error
    return out_path
