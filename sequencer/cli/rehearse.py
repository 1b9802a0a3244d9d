"""`sequencer rehearse`: a walk in physics."""

from typing import TYPE_CHECKING

import click

from sequencer.base.errors import MisuseError
from sequencer.cli.following import Following
from sequencer.cli.options import (
    FILE,
    gait_argument,
    json_option,
    machine_option,
    out,
    quiet_option,
    refuse_both,
    refuse_inputs,
    say,
    style,
    verb,
)
from sequencer.cli.progress import Progress
from sequencer.cli.rehearsing import FAULTS, planted

if TYPE_CHECKING:
    from sequencer.api import ExecutorName
    from sequencer.plan.tables import Plan
    from sequencer.rehearse.plant import RehearsalOptions
    from sequencer.rehearse.run import Rehearsal

LONGEST_MS = 3_600_000  # every tick is kept in memory


@verb("rehearse", "sequencer rehearse stork.gait.yaml --body stork.body.yaml --fault right_hip:slack=2deg")
@gait_argument
@click.option(
    "--body", metavar="FILE", type=FILE, required=True, help="What the machine weighs and measures."
)
@machine_option
@click.option(
    "--for", "lasts", metavar="TIME", default="40s", show_default=True, help="How long, at most 1h."
)
@click.option("--seed", type=click.IntRange(min=0), help="For the sensors' noise (default 0).")
@click.option(
    "--fault", "faults", multiple=True, metavar="WHOSE:WHAT=AMOUNT", help=f"Plant a fault: {FAULTS}."
)
@click.option("--press", "presses", multiple=True, metavar="EVENT=TIME", help="Default: start at 1s.")
@click.option("--on", multiple=True, metavar="SWITCH", help="Turn a switch on.")
@click.option("--off", multiple=True, metavar="SWITCH", help="Turn a switch off.")
@click.option(
    "--executor",
    type=click.Choice(["auto", "reference", "compiled", "both"]),
    default="auto",
    show_default=True,
    help="both: run the two and stop at the first tick in which they differ.",
)
@click.option("-o", "--output", metavar="FILE", type=FILE, help="Write the recording: .csv or .parquet.")
@click.option("--force", is_flag=True, help="Overwrite FILE.")
@json_option
@quiet_option
def command(
    gait: str,
    body: str,
    machine: str | None,
    lasts: str,
    seed: int | None,
    faults: tuple[str, ...],
    presses: tuple[str, ...],
    on: tuple[str, ...],
    off: tuple[str, ...],
    executor: "ExecutorName",
    output: str | None,
    force: bool,
    as_json: bool,
    quiet: bool,
) -> int:
    """Rehearse a walk in physics: a body of stiff links on a level floor answers to it, and can fall.

    The walk runs as it does on the controller, with its loops, outputs, sample periods and noise. The
    recording replays to the same phases with dry-run; columns that begin with truth. say what no sensor sees:
    foot clearance, support margin, contact, where the links are. MuJoCo does the physics (an extra:
    pip install 'gait-sequencer[rehearse]').

    The exit code is 1 if the machine fell, a timeout led to a stop or a rule was broken. A rehearsal proves
    nothing about hardware: first runs on a stand, hands clear, with a switch in the motors' supply.
    """
    from sequencer.api import Gait
    from sequencer.cli.rehearsal_text import undriven
    from sequencer.plan.build import load_plan

    refuse_both(output, as_json=as_json)
    if "-" in (gait, body) and gait == body:
        raise MisuseError("the gait and the body can't both come from standard input")
    plan = load_plan(gait, machine)
    refuse_inputs(output or "-", (body, *plan.sources))
    following = Following(lasts, seed, (), presses, on, off)
    if following.lasts_ms > LONGEST_MS:
        raise MisuseError(
            f"--for {lasts} is longer than an hour", hint="rehearse it in parts, with other seeds"
        )
    options = planted(_options(plan, following), faults)
    with Progress("rehearsing", quiet=quiet):
        seconds = following.lasts_ms / 1000
        done = Gait(plan).rehearse(body, duration_s=seconds, executor=executor, options=options)
    for line in undriven(done):
        say(line, quiet=quiet)
    if output is not None:
        _write(output, done, force=force)
        say(f"written: {output}, {len(done.truth.values)} ticks", quiet=quiet or output == "-")
    if output != "-":
        _print(done, output, as_json=as_json, quiet=quiet)
    from sequencer.show.runs import failed

    return int(done.fallen_ms is not None or failed(done.run))


def _options(plan: "Plan", following: Following) -> "RehearsalOptions":
    from sequencer.rehearse.plant import RehearsalOptions

    given = following.options(plan)
    return RehearsalOptions(
        seed=given.seed, presses=given.operator, switches_off=given.switches_off, helped=given.helped
    )


def _write(output: str, done: "Rehearsal", *, force: bool) -> None:
    import tempfile
    from pathlib import Path

    from sequencer.cli.options import out_bytes
    from sequencer.trace.write import write_trace

    if output != "-":
        write_trace(output, done.plan, done.blocks, overwrite=force, beside=done.truth)
        return
    with tempfile.TemporaryDirectory() as folder:  # it is laid out in full before the first byte goes out
        path = Path(folder) / "rehearsal.csv"
        write_trace(path, done.plan, done.blocks, beside=done.truth)
        out_bytes(path.read_bytes())


def _print(done: "Rehearsal", output: str | None, *, as_json: bool, quiet: bool) -> None:
    from sequencer.cli.rehearsal_text import rehearsal_document, rehearsal_text
    from sequencer.history.summary import summary

    figures = summary(done.run)
    if as_json:
        out(rehearsal_document(done, figures, output))
    elif quiet:
        out(rehearsal_text(done, figures, style()).splitlines()[0])
    else:
        out(rehearsal_text(done, figures, style()))
