"""What of a report's document a plot shows: panels, columns, and the time."""

from collections.abc import Sequence
from dataclasses import dataclass

from sequencer.base.errors import MisuseError
from sequencer.show.report.document import PlotShown, Recorded, ReportDocument
from sequencer.trace.layout import nearest

MOST_PANELS = 24
_COMMANDED = ("setpoint", "target")


@dataclass(frozen=True, slots=True)
class PlotOptions:
    """What to draw: columns by name (none: all), from and to in ms (None: the whole run), how wide."""

    signals: tuple[str, ...] = ()
    from_ms: float | None = None
    to_ms: float | None = None
    width_px: int = 1500


@dataclass(frozen=True, slots=True)
class Chosen:
    """Panels, the time from and to in ms, and how many panels were left out."""

    panels: list[PlotShown]
    from_ms: float
    to_ms: float
    left_out: int


def choose(document: ReportDocument, options: PlotOptions) -> Chosen:
    """Choose panels and time. Raises MisuseError for a column or a time that is not in the runs."""
    runs = document.runs
    start, end = min(run.start for run in runs), max(run.end for run in runs)
    from_ms = start if options.from_ms is None else options.from_ms
    to_ms = end if options.to_ms is None else options.to_ms
    if from_ms > to_ms or from_ms > end or to_ms < start:
        raise MisuseError(
            f"nothing of the run lies from {from_ms / 1000:g} s to {to_ms / 1000:g} s",
            hint=f"it goes from {start / 1000:g} s to {end / 1000:g} s",
        )
    panels = _panels(runs[0], options.signals)
    most = len(panels) if options.signals else MOST_PANELS
    return Chosen(panels[:most], max(from_ms, start), min(to_ms, end), len(panels[most:]))


def _panels(run: Recorded, wanted: Sequence[str]) -> list[PlotShown]:
    if not wanted:
        return run.plots
    names = [run.columns[i].name for plot in run.plots for i in plot.columns]
    for name in wanted:
        if name not in names:
            known = ", ".join(dict.fromkeys(names))
            hint = nearest(name, names) or f"it has {known[:400]}"
            raise MisuseError(f"no column of {run.name} that can be drawn is called {name}", hint=hint)
    found = []
    for plot in run.plots:
        mine = [i for i in plot.columns if run.columns[i].name in wanted]
        if not mine:
            continue
        whole = any(run.columns[i].role in _COMMANDED for i in mine)
        shown = [i for i in plot.columns if whole or i in mine or run.columns[i].role in _COMMANDED]
        found.append(PlotShown(plot.title, plot.unit, shown))
    return found
