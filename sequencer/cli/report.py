"""`sequencer report`: one page that shows a run, for any browser, without a network."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from sequencer.cli.following import Following, following_options
from sequencer.cli.options import (
    FILE,
    force_option,
    json_option,
    machine_option,
    out,
    quiet_option,
    refuse_both,
    say,
    verb,
    write_out,
)
from sequencer.cli.progress import Progress
from sequencer.cli.runs import Asked, gait_asked, run_sources

if TYPE_CHECKING:
    from sequencer.api import ExecutorName


@verb("report", "sequencer report walk.csv --gait stork.gait.yaml -o report.html")
@click.argument("runs", metavar="RUN [RUN2]", nargs=-1, required=True, type=FILE)
@click.option("--gait", metavar="FILE", type=FILE, help="The gait that the recording is run with.")
@machine_option
@click.option("-o", "--output", metavar="FILE", type=FILE, help="Where to write it; - for standard output.")
@click.option("--note", "notes", multiple=True, metavar="TEXT", help="A note, shown on top of the page.")
@click.option("--map", "mapping", multiple=True, metavar="OURS=THEIRS", help="A column of another name.")
@click.option(
    "--run", "run_number", type=int, metavar="N", help="Which run of a telemetry log; else the last."
)
@click.option(
    "--executor",
    type=click.Choice(["auto", "reference", "compiled", "both"]),
    default="auto",
    show_default=True,
    help="As with dry-run.",
)
@following_options
@force_option
@json_option
@quiet_option
def command(
    runs: tuple[str, ...],
    gait: str | None,
    machine: str | None,
    output: str | None,
    notes: tuple[str, ...],
    mapping: tuple[str, ...],
    run_number: int | None,
    executor: "ExecutorName",
    following: Following,
    force: bool,
    as_json: bool,
    quiet: bool,
) -> int:
    """Write a page that shows a run: what waits, for what, by how much it is short, at any moment.

    RUN is a recording or telemetry log, run with the gait that --gait names, as dry-run does; or a gait file
    alone: each signal then follows its setpoint. A CSV with a column `phase`, from any program, needs no
    gait. With a second RUN the two are laid over each other.

    The page is one file. It needs no network and asks for none; hand it on as it is. Without -o it is
    written beside RUN.
    """
    asked = Asked(runs, gait, machine, mapping, run_number, executor, following, quiet)
    named = gait_asked(asked)
    target = output or _beside(runs[0])
    refuse_both(target, as_json=as_json)
    data, title = _of_gait(named, asked, notes) if named else _of_logs(asked, notes)
    from sequencer.show.report.page import MARK

    write_out(target, data, ours=MARK, force=force)
    if as_json:
        from sequencer.show.jsonout import document

        out(document("files", {"written": [target], "bytes": len(data), "title": title}))
    elif target != "-":
        say(f"report: {target} ({len(data) / 1e6:.1f} MB); open it in a browser", quiet=quiet)
    return 0


def _of_gait(gait: str, asked: Asked, notes: tuple[str, ...]) -> tuple[bytes, str]:
    import sequencer
    from sequencer.show.diagram import diagram_bytes
    from sequencer.show.report.build import report_document
    from sequencer.show.report.page import page_bytes

    loaded = sequencer.load(gait, machine=asked.machine)
    sources = run_sources(loaded, asked)
    with Progress("writing the report", quiet=asked.quiet):
        document = report_document(loaded.plan, sources, loaded.check(), notes)
        return page_bytes(document, diagram_bytes(loaded.plan, "svg").decode()), document.title


def _of_logs(asked: Asked, notes: tuple[str, ...]) -> tuple[bytes, str]:
    from sequencer.cli.following import split_once
    from sequencer.show.report.foreign import logs_document
    from sequencer.show.report.page import page_bytes

    with Progress("writing the report", quiet=asked.quiet):
        document = logs_document(asked.runs, notes, split_once(asked.mapping, "OURS=THEIRS"))
        return page_bytes(document, ""), document.title


def _beside(run: str) -> str:
    if run == "-":
        return "-"
    path = Path(run)
    name = path.name.removesuffix(".gz")
    for ending in (".gait.yaml", ".gait.yml", path.suffix):
        if ending and name.endswith(ending):
            name = name.removesuffix(ending)
            break
    return str(path.with_name(f"{name}.report.html"))
