"""One panel of a plot: columns of one unit over time, with the thresholds that counted."""

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from sequencer.show.plot.ink import RULE, SETPOINT, SIGNALS, SOFT, TARGET, Stroke, dash_of
from sequencer.show.plot.samples import Drawn, Samples
from sequencer.show.report.document import Marks, PlotShown, Recorded
from sequencer.show.report.pack import unpack
from sequencer.show.text import clip

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST_MARKS = 400  # thresholds that are drawn in one panel
_POINTING = 60  # up to so many thresholds say on which side of them the guard is true
_STEPS = ("setpoint", "target", "other", "counter", "output")
_LINE_PT, _LETTER_PT, _HANDLE_PT = 12.5, 4.9, 38.0  # of a legend
_LONGEST = 40  # letters of a name
_SECOND = 0.55  # opacity and width of the second run's lines


def draw_panel(
    axes: "Axes", plot: PlotShown, runs: Sequence[Recorded], samples: Sequence[Samples], points: float
) -> int:
    """Draw a panel that is so many points wide; `samples` reads each run's columns.

    Gives how many lines of text stand above it.
    """
    strokes = _strokes(plot, runs[0])
    handles: list[Any] = []
    names: list[str] = []
    for number, (run, its) in enumerate(zip(runs, samples, strict=True)):
        for column, stroke in _columns(plot, runs[0], run, strokes):
            drawn = its.column(run.columns[column])
            handles.append(_line(axes, drawn, stroke, run.columns[column].role, number))
            whose = f" ({number + 1})" if len(runs) > 1 else ""
            names.append(clip(run.columns[column].name, _LONGEST) + whose)
    if len(runs) == 1 and runs[0].marks is not None:
        _draw_marks(axes, runs[0].marks, strokes)
    axes.grid(color=RULE, linewidth=0.6)
    axes.set_axisbelow(True)
    axes.margins(y=0.08)
    axes.set_ylabel(plot.unit, color=SOFT)
    lines, rows = _legend(axes, plot.title, handles, names, points)
    axes.set_title(
        clip(plot.title, 2 * _LONGEST),
        loc="left",
        fontsize=9,
        pad=3 if lines == rows else 3 + rows * _LINE_PT,
    )
    return lines


def _strokes(plot: PlotShown, run: Recorded) -> dict[int, Stroke]:
    strokes: dict[int, Stroke] = {}
    free = iter(SIGNALS * (1 + len(plot.columns) // len(SIGNALS)))
    for column in plot.columns:
        role = run.columns[column].role
        commanded = {"setpoint": SETPOINT, "target": TARGET}.get(role) if _commands(plot, run, role) else None
        strokes[column] = commanded or next(free)
    return strokes


def _commands(plot: PlotShown, run: Recorded, role: str) -> bool:
    """Only the one setpoint or target of a panel is drawn in its own way; several need to be told apart."""
    return sum(run.columns[column].role == role for column in plot.columns) == 1


def _columns(
    plot: PlotShown, first: Recorded, run: Recorded, strokes: dict[int, Stroke]
) -> Iterable[tuple[int, Stroke]]:
    """Give the run's columns of the names of the panel's; setpoints first, so that they lie below."""
    places = {(column.name, column.role): i for i, column in enumerate(run.columns)}
    for index in sorted(plot.columns, key=lambda i: strokes[i] is not SETPOINT):
        column = first.columns[index]
        if (column.name, column.role) in places:
            yield places[column.name, column.role], strokes[index]


def _line(axes: "Axes", drawn: Drawn, stroke: Stroke, role: str, number: int) -> Any:
    seconds = drawn.at_ms / 1000
    weight = 1.0 if number == 0 else _SECOND
    [line] = axes.plot(
        seconds,
        drawn.values,
        color=stroke.colour,
        linestyle=dash_of(stroke),
        linewidth=stroke.width * weight,
        alpha=weight,
        drawstyle="steps-post" if role in _STEPS and drawn.whole else "default",
        solid_joinstyle="bevel",
    )
    there = ~np.isnan(drawn.values)
    alone = there & ~np.append(False, there[:-1]) & ~np.append(there[1:], False)
    if alone.any():
        axes.plot(
            seconds[alone],
            drawn.values[alone],
            color=stroke.colour,
            alpha=weight,
            linestyle="none",
            marker="o",
            markersize=2,
        )
    return line


def _draw_marks(axes: "Axes", marks: Marks, strokes: dict[int, Stroke]) -> None:
    """Draw thresholds while they counted; a pointer says on which side the guard is true."""
    low_s, high_s = axes.get_xlim()
    start, end, column, low, high = (
        np.asarray(unpack(part), np.float64)
        for part in (marks.from_, marks.to, marks.column, marks.low, marks.high)
    )
    seen = (end / 1000 >= low_s) & (start / 1000 <= high_s) & np.isin(column, list(strokes))
    rows = np.flatnonzero(seen)[:MOST_MARKS]
    pointing = len(rows) <= _POINTING
    for row in rows.tolist():
        colour = strokes[int(column[row])].colour
        where = float(start[row] / 1000), max(float(end[row] / 1000), float(start[row] / 1000))
        for value, pointer in ((low[row], "^"), (high[row], "v")):
            if np.isnan(value):
                continue
            axes.plot(where, (value, value), color=colour, linewidth=0.9, linestyle=(0, (2.5, 1.2)), zorder=3)
            if pointing:
                axes.plot(
                    where[0], value, marker=pointer, markersize=4, color=colour, linestyle="none", zorder=3
                )


def _legend(
    axes: "Axes", title: str, handles: Sequence[Any], names: Sequence[str], points: float
) -> tuple[int, int]:
    """Put names above the panel, beside the title if there is room.

    Gives how many lines of text that takes with the title, and how many without it. The names are set
    afterwards, as a legend takes none that begins with _.
    """
    if not handles:
        return 1, 1
    entry = max(len(name) for name in names) * _LETTER_PT + _HANDLE_PT
    columns = max(1, min(len(names), int(points / entry)))
    rows = -(-len(names) // columns)
    alone = columns * entry + min(len(title), 2 * _LONGEST) * _LETTER_PT > points
    legend = axes.legend(
        handles,
        [str(i) for i in range(len(names))],
        loc="lower right",
        bbox_to_anchor=(1.0, 1.0),
        ncols=columns,
        frameon=False,
        borderaxespad=0.1,
        borderpad=0.2,
        labelspacing=0.25,
        handlelength=2.6,
        columnspacing=1.2,
        fontsize=8,
    )
    for text, name in zip(legend.get_texts(), names, strict=True):
        text.set_text(name)
    return rows + alone, rows
