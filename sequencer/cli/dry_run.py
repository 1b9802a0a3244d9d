"""`sequencer dry-run`: a gait against a recording, or against itself."""

import shutil
import sys
from typing import TYPE_CHECKING

import click

from sequencer.base.errors import MisuseError
from sequencer.cli.following import Following, following_options
from sequencer.cli.options import (
    FILE,
    force_option,
    gait_argument,
    json_option,
    machine_option,
    out,
    quiet_option,
    refuse_both,
    say,
    style,
    verb,
    write_out,
)
from sequencer.cli.progress import Progress
from sequencer.cli.recording import Recording, is_long, opened
from sequencer.show.text import clean

if TYPE_CHECKING:
    from sequencer.api import ExecutorName
    from sequencer.history.run import Run

RUN_MARK = b",drives"  # in the first line of every run that is written as CSV
# for the margins every tick is kept in memory; beyond this they must be asked for
MOST_TICKS_WITH_MARGINS = 1_000_000  # of a run without one


@verb("dry-run", "sequencer dry-run stork.gait.yaml walk.csv --map left_knee=pot_3 --on motors")
@gait_argument
@click.argument("trace", metavar="[TRACE|-]", required=False, type=FILE)
@machine_option
@click.option("--map", "mapping", multiple=True, metavar="OURS=THEIRS", help="A column of another name.")
@click.option(
    "--run", "run_number", type=int, metavar="N", help="Which run of a telemetry log; else the last."
)
@click.option(
    "--executor",
    type=click.Choice(["auto", "reference", "compiled", "both"]),
    default="auto",
    show_default=True,
    help="both: run the two and stop at the first tick in which they differ.",
)
@following_options
@click.option("--out", "out_file", metavar="FILE", type=FILE, help="Write every tick as CSV; - for stdout.")
@click.option("--margins/--no-margins", default=None, help="List the guards' margins / do without (faster).")
@click.option("--all", "every_phase", is_flag=True, help="List every phase that was visited.")
@force_option
@json_option
@quiet_option
def command(
    gait: str,
    trace: str | None,
    machine: str | None,
    mapping: tuple[str, ...],
    run_number: int | None,
    executor: "ExecutorName",
    following: Following,
    out_file: str | None,
    margins: bool | None,
    every_phase: bool,
    force: bool,
    as_json: bool,
    quiet: bool,
) -> int:
    """Run a gait against a recording (CSV, Parquet, telemetry log), tick by tick as the controller would.

    A telemetry log is what the board program sent. It also tells what the machine did, and one line says
    whether the dry run does the same to the bit, or else from which tick on they differ.

    Without a recording each signal follows its setpoint: no physics, only whether the walk can run through.
    The operator presses what starts the walk after 1 s. --for, --seed, --fault, --press and --off belong to
    that; --on also turns on a switch that a recording has no column for, --on remote lets the remote be
    heard in every tick, and --on helping lets timeouts only warn, on a machine that can be helped by hand.

    The exit code is 1 if a timeout led to a stop, a rule was broken or the machine did something else. A
    dry-run proves nothing about hardware: first runs on a stand, hands clear, with a switch in the motors'
    supply.
    """
    import sequencer

    refuse_both(out_file, as_json=as_json)
    if gait == "-" and trace == "-":
        raise MisuseError("the gait and the recording can't both come from standard input")
    loaded = sequencer.load(gait, machine=machine)
    if trace is None:
        for option, given in (("--map", mapping), ("--run", run_number is not None)):
            if given:
                raise MisuseError(f"{option} belongs to a recording, and there is none")
        long = following.lasts_ms / loaded.plan.tick_ms > MOST_TICKS_WITH_MARGINS
        keep = _keep_ticks(margins, long=long, quiet=quiet)
        with Progress("dry-run", quiet=quiet):
            run = loaded.dry_run(
                duration_s=following.lasts_ms / 1000,
                executor=executor,
                margins=keep,
                following=following.options(loaded.plan),
            )
    else:
        following.refuse(but=("--on",))
        keep = _keep_ticks(margins, long=is_long(trace), quiet=quiet)
        recording = Recording(trace, mapping, following.on, quiet, run_number)
        with opened(loaded.plan, recording) as blocks:
            run = loaded.dry_run(blocks, executor=executor, margins=keep)
    if executor == "both":
        say(f"both executors agreed to the bit in all {run.ticks} ticks", quiet=quiet)
    if out_file:
        from sequencer.show.runcsv import run_csv

        write_out(out_file, b"".join(run_csv(run, margins=bool(margins))), ours=RUN_MARK, force=force)
    if out_file != "-":
        _print(run, every_phase=every_phase, margins=bool(margins), as_json=as_json, quiet=quiet)
    if run.machine is not None:
        say(clean(run.machine.words), quiet=quiet and run.machine.parting is None)
    from sequencer.show.runs import failed

    return int(failed(run) or (run.machine is not None and run.machine.differs))


def _keep_ticks(margins: bool | None, *, long: bool, quiet: bool) -> bool:
    """Keep every tick unless told otherwise, or unless the run is so long that memory may not do."""
    if margins is None and long:
        say("margins are off for a run of this length; --margins turns them on", quiet=quiet)
    return not long if margins is None else margins


def _print(run: "Run", *, every_phase: bool, margins: bool, as_json: bool, quiet: bool) -> None:
    from sequencer.history.summary import summary

    figures = summary(run)
    if as_json:
        from sequencer.show.runjson import run_document

        out(run_document(run, figures))
        return
    from sequencer.show.runs import margins_text, run_text

    if quiet:
        out(figures.words)
        return
    columns = shutil.get_terminal_size().columns if sys.stdout.isatty() else 0
    if margins:
        out(margins_text(run, style()))
        out("\n")
    out(run_text(run, figures, style(), every_phase=every_phase, columns=columns))
