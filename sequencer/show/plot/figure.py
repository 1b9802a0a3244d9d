"""A whole plot: title, ribbon, panels, and what went wrong in words, as PNG, SVG or PDF.

matplotlib draws it, without a window. The same runs give the same bytes: no date stands in the file.
"""

import textwrap
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from sequencer.base.errors import MisuseError, ToolError
from sequencer.show.plot.choice import Chosen, PlotOptions, choose
from sequencer.show.plot.ink import EDGE, SHEET, SOFT, TEXT
from sequencer.show.plot.panels import draw_panel
from sequencer.show.plot.ribbon import Scale, draw_ribbon, draw_troubles, rows_of
from sequencer.show.plot.samples import Samples
from sequencer.show.report.document import ReportDocument

if TYPE_CHECKING:
    from matplotlib.figure import Figure

Kind = Literal["png", "svg", "pdf"]

KINDS: tuple[Kind, ...] = ("png", "svg", "pdf")
MAKER = "gait-sequencer plot"
DPI = 150
MOST_TROUBLES = 6  # in words
_PANEL, _ROW, _LINE = 1.25, 0.21, 0.17  # inches high
_LEFT, _RIGHT = 1.05, 0.15  # margins, inches
_SETTINGS: dict[str, Any] = {
    "font.family": "DejaVu Sans",  # matplotlib carries it, so pictures agree between machines
    "font.size": 8.5,
    "text.parse_math": False,  # a name with $ in it is no formula
    "text.color": TEXT,
    "axes.edgecolor": EDGE,
    "axes.labelcolor": TEXT,
    "xtick.color": SOFT,
    "ytick.color": SOFT,
    "ytick.labelcolor": TEXT,
    "axes.unicode_minus": False,
    "axes.formatter.useoffset": False,
    "hatch.linewidth": 0.7,
    "path.simplify": False,  # what is drawn was thinned already
    "agg.path.chunksize": 20_000,
    "svg.hashsalt": MAKER,
    "svg.fonttype": "path",
}
_METADATA: dict[str, dict[str, Any]] = {
    "png": {"Software": MAKER},
    "svg": {"Creator": MAKER, "Date": None},
    "pdf": {"Creator": MAKER, "Producer": MAKER, "CreationDate": None},
}


@dataclass(frozen=True, slots=True)
class Plotted:
    """A plot's bytes, and how many panels it has no room for."""

    data: bytes
    left_out: int


def kind_of(path: str) -> Kind:
    """Tell by a file's name how it is to be written; MisuseError for an ending that is none of ours."""
    ending = Path(path).suffix.removeprefix(".").lower()
    for kind in KINDS:
        if ending == kind:
            return kind
    said = f"as {ending}" if ending else "without an ending"
    raise MisuseError(f"a plot cannot be written {said}", hint=f"let FILE end in {', '.join(KINDS)}")


def plot(document: ReportDocument, kind: Kind, options: PlotOptions | None = None) -> Plotted:
    """Draw the runs of a report's document.

    Raises ToolError if matplotlib is missing, MisuseError for columns or times that are not there.
    """
    options = options or PlotOptions()
    chosen = choose(document, options)
    matplotlib = _matplotlib()
    with matplotlib.rc_context(_SETTINGS), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from")  # such a letter becomes a box
        figure = _figure(document, chosen, options.width_px)
        file = BytesIO()
        figure.savefig(file, format=kind, dpi=DPI, facecolor=SHEET, metadata=_METADATA[kind])
    return Plotted(file.getvalue(), chosen.left_out)


def _matplotlib() -> Any:
    try:
        import matplotlib
    except ImportError as error:
        raise ToolError(
            "the package matplotlib is not installed, and it draws the plots",
            hint="pip install 'gait-sequencer[plot]'",
        ) from error
    return matplotlib


def _figure(document: ReportDocument, chosen: Chosen, width_px: int) -> "Figure":
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    width = width_px / DPI
    inside = width - _LEFT - _RIGHT
    scale = Scale(chosen.from_ms / 1000, chosen.to_ms / 1000, inside * 72, round(inside * DPI))
    rows = rows_of(document.walk, document.runs)
    head = _head(document, int(width * 15.5))
    figure = Figure(figsize=(width, 1), dpi=DPI)
    FigureCanvasAgg(figure)
    axes = [figure.add_subplot() for _ in range(1 + len(chosen.panels))]
    axes[0].set_xlim(*_limits(scale))
    keys = draw_ribbon(axes[0], document.walk, document.runs, rows, scale)
    samples = [Samples(run, chosen.from_ms, chosen.to_ms, scale.pixels) for run in document.runs]
    above = [0]
    for panel, shown in zip(axes[1:], chosen.panels, strict=True):
        panel.set_xlim(*_limits(scale))
        above.append(draw_panel(panel, shown, document.runs, samples, scale.points))
        panel.set_xlim(*_limits(scale))
    troubles = draw_troubles(axes, document.runs, scale)
    foot = _foot(document, chosen, keys, troubles, samples, int(width * 16.5))
    _lay_out(figure, axes, head, len(rows), above, foot)
    return figure


def _limits(scale: Scale) -> tuple[float, float]:
    """Give the axis's ends; a run of one tick needs some width."""
    return (scale.from_s, scale.to_s) if scale.to_s > scale.from_s else (scale.from_s - 0.5, scale.to_s + 0.5)


def _head(document: ReportDocument, letters: int) -> list[str]:
    lines = []
    for number, run in enumerate(document.runs):
        whose = f"({number + 1}) {run.name}: " if len(document.runs) > 1 else ""
        lines += textwrap.wrap(f"{whose}{run.summary}", letters, max_lines=3, placeholder=" ...")
    return [*textwrap.wrap(document.title, int(letters * 0.75), max_lines=2, placeholder=" ..."), "", *lines]


def _foot(
    document: ReportDocument,
    chosen: Chosen,
    keys: dict[str, str],
    troubles: list[str],
    samples: Sequence[Samples],
    letters: int,
) -> list[str]:
    lines = []
    if keys:
        lines += textwrap.wrap("phases: " + ", ".join(f"{key} {name}" for name, key in keys.items()), letters)
    for words in troubles[:MOST_TROUBLES]:
        lines += textwrap.wrap(words, letters, max_lines=2, placeholder=" ...")
    if len(troubles) > MOST_TROUBLES:
        lines.append(f"and {len(troubles) - MOST_TROUBLES} troubles more")
    if document.runs[0].marks is not None and len(document.runs) == 1 and chosen.panels:
        lines.append(
            "thin dashes: thresholds while they counted; a guard wants more than \u25b2, less than \u25bc"
        )
    if any(its.coarse for its in samples):
        lines.append("long run: of each stretch of time the least and greatest number are drawn")
    return lines


def _lay_out(
    figure: "Figure",
    axes: Sequence[Any],
    head: Sequence[str],
    rows: int,
    above: Sequence[int],
    foot: Sequence[str],
) -> None:
    """Place everything in inches from the top, and make the figure as high as that comes to.

    head: lines of the title, an empty one, lines below it. rows: of the ribbon. above: how many lines of text
    stand above each of the axes.
    """
    titles = list(head).index("")
    heights = [max(rows, 1) * _ROW, *(_PANEL for _ in axes[1:])]
    gaps = [0.2, *(0.12 + lines * _LINE + (0.16 if i == 1 else 0.0) for i, lines in enumerate(above) if i)]
    down = 0.1 + titles * 0.25 + (len(head) - titles - 1) * _LINE
    high = down + sum(heights) + sum(gaps) + 0.48 + len(foot) * _LINE
    width = figure.get_figwidth()
    figure.set_figheight(high)
    top = 0.1
    for number, line in enumerate(head):
        size, weight, colour = (12, "bold", TEXT) if number < titles else (8.5, "normal", SOFT)
        _write(figure, (0.12 / width, 1 - top / high), line, size, colour, weight)
        top += 0.25 if number < titles else _LINE if line else 0.0
    for number, (panel, tall, gap) in enumerate(zip(axes, heights, gaps, strict=True)):
        down += gap + tall
        inside = (width - _LEFT - _RIGHT) / width
        panel.set_position((_LEFT / width, 1 - down / high, inside, tall / high))
        last = number == len(axes) - 1
        panel.tick_params(axis="x", labelbottom=last or number == 0, length=2.5)
        if last:
            panel.set_xlabel("time in s", color=SOFT)
    for number, line in enumerate(foot):
        _write(figure, (0.12 / width, 1 - (down + 0.42 + number * _LINE) / high), line, 8, TEXT, "normal")


def _write(
    figure: "Figure", where: tuple[float, float], line: str, size: float, colour: str, weight: str
) -> None:
    if line:
        figure.text(*where, line, va="top", fontsize=size, fontweight=weight, color=colour)
