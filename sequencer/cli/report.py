"""`sequencer report`: one page that shows a run, for any browser, without a network."""

import click

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


@verb("report", "sequencer report walk.csv --gait stork.gait.yaml -o report.html")
@run_options
@click.option("-o", "--output", metavar="FILE", type=FILE, help="Where to write it; - for standard output.")
@click.option("--note", "notes", multiple=True, metavar="TEXT", help="A note, shown on top of the page.")
@force_option
@json_option
@quiet_option
def command(
    asked: Asked,
    output: str | None,
    notes: tuple[str, ...],
    force: bool,
    as_json: bool,
    quiet: bool,
) -> int:
    """Write a page that shows a run: what waits, for what, by how much it is short, at any moment.

    RUN is a recording or telemetry log, run with the gait that --gait names or that stands beside it, as
    dry-run does; or a gait file alone: each signal then follows its setpoint. A CSV with a column `phase`,
    from any program, needs no gait. With a second RUN the two are laid over each other; a gait counts as one
    if --gait names it, too.

    The page is one file. It needs no network and asks for none; hand it on as it is. Without -o it is
    written beside RUN.
    """
    named = gait_asked(asked)
    target = output or beside(asked.runs[0], ".report.html")
    refuse_both(target, as_json=as_json)
    from sequencer.show.report.page import MARK

    refuse_to_lose(target, ours=MARK, force=force, made_from=files_read(asked))
    data, title = _of_gait(named, asked, notes) if named else _of_logs(asked, notes)
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
