"""`sequencer dry-run`: a gait against a recording, or against itself."""

import shutil
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from sequencer.base.errors import MisuseError
from sequencer.cli.following import HELPING, Following, following_options, split_once
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
from sequencer.show.text import clean

if TYPE_CHECKING:
    from sequencer.api import ExecutorName, Gait
    from sequencer.history.run import Run
    from sequencer.plan.tables import Plan
    from sequencer.trace.blocks import TickBlock
    from sequencer.trace.read import TraceReader

RUN_MARK = b",drives"  # in the first line of every run that is written as CSV
# for the margins every tick is kept in memory; beyond this they must be asked for
MOST_BYTES_WITH_MARGINS = 50_000_000  # of a recording
MOST_TICKS_WITH_MARGINS = 1_000_000  # of a run without one
REMOTE = "remote"  # with --on: heard in every tick
_FAR_APART = 100  # times a sensor's period; milliseconds taken for seconds make it 1000


@dataclass(frozen=True, slots=True)
class _Replay:
    """What a recording is run with."""

    trace: str
    mapping: tuple[str, ...]
    on: tuple[str, ...]
    executor: "ExecutorName"
    margins: bool
    quiet: bool
    run: int | None


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
        keep = _keep_ticks(margins, long=_is_long(trace), quiet=quiet)
        run = _replay(loaded, _Replay(trace, mapping, following.on, executor, keep, quiet, run_number))
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


def _is_long(trace: str) -> bool:
    path = Path(trace)
    return trace != "-" and path.is_file() and path.stat().st_size > MOST_BYTES_WITH_MARGINS


def _replay(loaded: "Gait", how: _Replay) -> "Run":
    from sequencer.trace.layout import TraceOptions
    from sequencer.trace.read import open_trace

    own = {switch.name for switch in loaded.plan.switches}
    heard, helped = (name in how.on and name not in own for name in (REMOTE, HELPING))
    switches = frozenset(how.on) - {name for name in (REMOTE, HELPING) if name not in own}
    options = TraceOptions(split_once(how.mapping, "OURS=THEIRS"), switches, heard, how.run, helped)
    with open_trace(how.trace, loaded.plan, options) as reader, Progress("dry-run", quiet=how.quiet) as bar:
        _fit_options(reader, how)
        for line in reader.remarks:
            say(clean(line), quiet=how.quiet)
        if reader.unused and len(reader.missing) == len(loaded.plan.signals):
            raise MisuseError(
                f"no column of {how.trace} is a signal of {loaded.plan.machine}",
                hint=f"say which is which, such as --map {reader.missing[0]}={reader.unused[0]}",
            )
        if reader.unused:
            say(f"columns not used: {', '.join(reader.unused)}", quiet=how.quiet)
        for line in _absent(reader, loaded.plan, how.on, heard=heard):
            say(line, quiet=how.quiet)
        run = loaded.dry_run(_counted(reader, bar), executor=how.executor, margins=how.margins)
        if line := _far_apart(reader, loaded.plan):
            say(line, quiet=how.quiet)
        return run


def _fit_options(reader: "TraceReader", how: _Replay) -> None:
    if reader.of_machine and how.on:
        raise MisuseError("--on belongs to a recording without that column; a telemetry log tells all of it")
    if not reader.of_machine and how.run is not None:
        raise MisuseError("--run belongs to a telemetry log, which may hold several runs")


def _absent(reader: "TraceReader", plan: "Plan", on: tuple[str, ...], *, heard: bool) -> list[str]:
    """Say what of the machine the recording has no column for, and what that comes to."""
    lines = []
    if reader.missing:
        lines.append(f"signals without a column: {', '.join(reader.missing)}")
    likely = {name.lower(): name for name in reader.unused}
    for signal in reader.missing:
        if column := likely.get(signal.lower()):
            lines.append(f"    if {column} is {signal}: --map {signal}={column}")
    columns = reader.layout.columns
    events = {c.index for c in columns if c.role == "event"}
    if never := [event.name for i, event in enumerate(plan.events) if i not in events]:
        lines.append(f"events without a column, so they never come: {', '.join(never)}")
    switches = {c.index for c in columns if c.role == "switch"}
    off = [s.name for i, s in enumerate(plan.switches) if i not in switches and s.name not in on]
    if off:
        lines.append(f"switches without a column, so they are off: {', '.join(off)} (or --on {off[0]})")
    if plan.remote is not None and all(c.role != "remote" for c in columns):
        said = [c.name for c in columns if c.role == "event" and c.index in plan.remote.events]
        said += [c.name for c in columns if c.role == "switch" and c.index in plan.remote.switches]
        where = f"where a cell of {' or '.join(said)} is filled (--on remote: in every tick)"
        lines.append(f"no column remote, so it is heard {where if said and not heard else 'in every tick'}")
    return lines


def _far_apart(reader: "TraceReader", plan: "Plan") -> str:
    """Say so if rows are so far apart that the times may be milliseconds taken for seconds."""
    time = reader.layout.time
    signals = (plan.signals[c.index] for c in reader.layout.columns if c.role == "signal")
    periods = [(signal.every_us, signal.name) for signal in signals if signal.every_us]
    if not periods or reader.rows < 2 or time.name not in ("time", "t"):
        return ""
    every_us, name = min(periods)
    apart_us = reader.ticks * plan.tick_ms * 1000 / reader.rows
    if apart_us < _FAR_APART * every_us:
        return ""
    return (
        f"rows are {apart_us / 1e6:.3g} s apart, but {name} comes every {every_us / 1000:g} ms: "
        f"if the times are milliseconds, call the column {time.name} [ms]"
    )


def _counted(reader: "TraceReader", bar: Progress) -> "Iterator[TickBlock]":
    for block in reader:
        bar.update(reader.ticks)
        yield block


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
