"""`sequencer make-trace`: recordings from scripts, or from the follow mode."""

import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from sequencer.base.errors import MisuseError
from sequencer.cli.following import Following, following_options
from sequencer.cli.options import (
    FILE,
    json_option,
    machine_option,
    out,
    out_bytes,
    quiet_option,
    refuse_both,
    refuse_inputs,
    say,
    verb,
)
from sequencer.cli.progress import Progress

if TYPE_CHECKING:
    from sequencer.plan.tables import Plan
    from sequencer.trace.blocks import TickBlock


@verb("make-trace", "sequencer make-trace --follow stork.gait.yaml --fault left_knee:limit=20mm -o stuck.csv")
@click.argument("files", nargs=-1, required=True, metavar="[SCRIPT] GAIT", type=FILE)
@machine_option
@click.option("--follow", is_flag=True, help="No script: each signal follows its setpoint.")
@following_options
@click.option(
    "-o", "--output", required=True, metavar="FILE", type=FILE, help=".csv or .parquet; - for stdout."
)
@click.option("--force", is_flag=True, help="Overwrite FILE.")
@json_option
@quiet_option
def command(
    files: tuple[str, ...],
    machine: str | None,
    follow: bool,
    following: Following,
    output: str,
    force: bool,
    as_json: bool,
    quiet: bool,
) -> int:
    """Write a recording from a script, or with --follow by letting the machine follow its setpoints.

    A script says for each signal where it stands, ramps, steps, swings, and what is wrong with it. --follow
    runs the gait itself and writes down what its sensors would have said; --for, --seed, --fault, --press,
    --on and --off belong to it. Say wherever you use such a file that it was made.
    """
    from sequencer.plan.build import load_plan

    refuse_both(output, as_json=as_json)
    if len(files) != (1 if follow else 2):
        raise MisuseError(
            "--follow takes one GAIT and no script" if follow else "a SCRIPT and a GAIT are needed",
            hint="sequencer make-trace SCRIPT GAIT -o FILE, or sequencer make-trace --follow GAIT -o FILE",
        )
    plan = load_plan(files[-1], machine)
    refuse_inputs(output, (*files, *plan.sources))
    with Progress("writing", quiet=quiet) as bar:
        if follow:
            blocks: Iterable[TickBlock] = _followed(plan, following)
        else:
            from sequencer.trace.make import make_trace

            following.refuse(but=("--seed",))
            blocks = make_trace(files[0], plan, seed=following.seed)
        ticks = _write(output, plan, _counted(blocks, bar), force=force)
    if as_json:
        from sequencer.show.jsonout import document

        out(document("files", {"written": [output], "ticks": ticks}))
    elif output != "-":
        say(f"written: {output}, {ticks} ticks", quiet=quiet)
    return 0


def _followed(plan: "Plan", following: Following) -> "Iterator[TickBlock]":
    from sequencer.api import make_executor
    from sequencer.history.following import followed_inputs
    from sequencer.trace.follow import FollowPlant

    ticks = max(1, round(following.lasts_ms / plan.tick_ms))
    return followed_inputs(make_executor(plan), FollowPlant(plan, following.options(plan)), ticks)


def _counted(blocks: "Iterable[TickBlock]", bar: Progress) -> "Iterator[TickBlock]":
    done = 0
    for block in blocks:
        yield block
        done += len(block)
        bar.update(done)


def _write(output: str, plan: "Plan", blocks: "Iterable[TickBlock]", *, force: bool) -> int:
    from sequencer.trace.write import write_trace

    if output != "-":
        return write_trace(output, plan, blocks, overwrite=force)
    with tempfile.TemporaryDirectory() as folder:  # it is laid out in full before the first byte goes out
        path = Path(folder) / "trace.csv"
        ticks = write_trace(path, plan, blocks)
        out_bytes(path.read_bytes())
    return ticks
