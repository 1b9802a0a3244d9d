"""`sequencer plot`: a run as a picture, for notes and forums."""

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import click

from sequencer.cli.following import milliseconds, split_once
from sequencer.cli.options import (
    FILE,
    force_option,
    json_option,
    out,
    quiet_option,
    refuse_both,
    refuse_to_lose,
    say,
    verb,
    write_out,
)
from sequencer.cli.progress import Progress
from sequencer.cli.runs import Asked, beside, files_read, gait_asked, run_options, run_sources

if TYPE_CHECKING:
    from sequencer.show.plot.choice import PlotOptions
    from sequencer.show.report.document import ReportDocument

# and what tells them near their beginning
FORMATS = {"png": b"gait-sequencer plot", "svg": b"gait-sequencer plot", "pdf": b"%PDF-"}


@verb("plot", "sequencer plot walk.csv --gait stork.gait.yaml --signals left_knee,battery -o run.png")
@run_options
@click.option("-o", "--output", metavar="FILE", type=FILE, help="PNG, SVG or PDF by its ending; - for PNG.")
@click.option("--signals", metavar="A,B", help="Draw these only; else all.")
@click.option("--from", "from_time", metavar="TIME", help="Begin at this time of the run.")
@click.option("--to", "to_time", metavar="TIME", help="End at this time of the run.")
@click.option(
    "--width",
    type=click.IntRange(600, 6000),
    default=1500,
    show_default=True,
    metavar="PIXELS",
    help="How wide (SVG and PDF: 150 to the inch).",
)
@force_option
@json_option
@quiet_option
def command(
    asked: Asked,
    output: str | None,
    signals: str | None,
    from_time: str | None,
    to_time: str | None,
    width: int,
    force: bool,
    as_json: bool,
    quiet: bool,
) -> int:
    """Draw a run as a picture: feet on the ground and phases on top, signals with thresholds below.

    RUN is what `report` takes: a recording or telemetry log with its gait, a gait alone, or any CSV with a
    column `phase`. The lines of a second RUN are thinner and paler. Without -o a PNG is written beside RUN.

    Signals are drawn by their least and greatest number in each pixel, so that no spike is lost. This needs
    the package matplotlib: pip install 'gait-sequencer[plot]'.
    """
    from sequencer.show.plot.choice import MOST_PANELS, PlotOptions
    from sequencer.show.plot.figure import kind_of, plot

    target = output or beside(asked.runs[0], ".png")
    kind = "png" if target == "-" else kind_of(target)
    refuse_both(target, as_json=as_json)
    times = [None if time is None else float(milliseconds(time)) for time in (from_time, to_time)]
    chosen = [name.strip() for name in (signals or "").split(",") if name.strip()]
    options = PlotOptions(tuple(chosen), times[0], times[1], width)
    refuse_to_lose(target, ours=FORMATS[kind], force=force, made_from=files_read(asked))
    document = _document(asked, options)
    with Progress("plotting", quiet=quiet):
        plotted = plot(document, kind, options)
    write_out(target, plotted.data, ours=FORMATS[kind], force=force)
    if plotted.left_out:
        more = f"{plotted.left_out} plots more have no room"
        say(f"the first {MOST_PANELS} plots were drawn, {more}; --signals chooses", quiet=quiet)
    if as_json:
        from sequencer.show.jsonout import document as json_document

        out(json_document("files", {"written": [target], "bytes": len(plotted.data)}))
    elif target != "-":
        say(f"plotted: {target}", quiet=quiet)
    return 0


def _document(asked: Asked, options: "PlotOptions") -> "ReportDocument":
    gait = gait_asked(asked)
    look = (options.from_ms or 0.0, math.inf if options.to_ms is None else options.to_ms)
    if gait is None:
        from sequencer.show.report.foreign import logs_document

        mapping = split_once(asked.mapping, "OURS=THEIRS")
        with Progress("reading", quiet=asked.quiet):
            return logs_document(asked.runs, (), mapping, options.signals, look)
    import sequencer
    from sequencer.show.report.build import report_document

    loaded = sequencer.load(gait, machine=asked.machine)
    sources = [replace(source, look_ms=look) for source in run_sources(loaded, asked)]
    with Progress("reading", quiet=asked.quiet):
        return report_document(loaded.plan, sources)
