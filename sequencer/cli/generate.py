"""`sequencer generate`: the controller's source code."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from sequencer.base.errors import MisuseError
from sequencer.cli.first_morning import write_bringup
from sequencer.cli.fit import chosen
from sequencer.cli.job import Job
from sequencer.cli.options import FILE, json_option, machine_option, quiet_option, verb
from sequencer.cli.uploading import ready_to_upload

if TYPE_CHECKING:
    from sequencer.plan.tables import Plan

CAUTION = "A stop in this code is a functional stop, not an emergency stop: that one belongs into the supply."


@verb("generate", "sequencer generate stork.gait.yaml -o firmware")
@click.argument("gait", metavar="GAIT|MACHINE", type=FILE)
@machine_option
@click.option("--target", default="portable", show_default=True, help="What the code is for (see above).")
@click.option("-o", "--output", metavar="DIR", required=True, type=FILE, help="The folder for the files.")
@click.option("--templates", metavar="DIR", type=FILE, help="A folder with templates of your own.")
@click.option(
    "--self-test",
    "trace",
    metavar="TRACE",
    type=FILE,
    help="Add a program that replays this recording and prints.",
)
@click.option("--ticks", type=click.IntRange(min=1), help="Only so many ticks of the self-test's recording.")
@click.option(
    "--controller",
    metavar="NAME",
    help="Measure on it: atmega328p, atmega2560, cortex-m3, cortex-m4f, or a board.",
)
@click.option("--no-measure", is_flag=True, help="Measure nothing, whatever the files say.")
@click.option("--upload", metavar="PORT", help="Upload a board's program over this port, with avrdude.")
@click.option(
    "--force", is_flag=True, help="Overwrite files that were not generated; write what does not fit."
)
@json_option
@quiet_option
def command(
    gait: str,
    machine: str | None,
    target: str,
    output: str,
    templates: str | None,
    trace: str | None,
    ticks: int | None,
    controller: str | None,
    no_measure: bool,
    upload: str | None,
    force: bool,
    as_json: bool,
    quiet: bool,
) -> int:
    """Generate C++ that does what the gait says, to the bit as the dry-run does it.

    The same gait gives the same bytes. The file with your own hooks is written once and never again.
    A stop in the generated code is a functional stop, not an emergency stop.

    The target portable is the walk alone, for a program of yours. board is a complete program for the board
    that the machine file's wiring describes. bringup is one for the first morning, made from a machine file
    alone: it jogs and measures one joint at a time. Hoist the machine for it.

    --self-test adds a program for this computer or a board of yours, which replays the recording and prints
    each tick's phases and setpoints (as bits), and the text that it must print.

    With --controller, a budget in the machine file or the target board, flash, memory and the slowest tick
    are measured with the cross compiler and the emulator. What does not fit is not written: exit code 1.

    For a board the command that uploads is printed, too; --upload PORT runs it.
    """
    from sequencer.plan.build import load_plan

    if target == "bringup" and templates is None:
        if machine or trace or ticks or controller:
            raise MisuseError(
                "the target bringup takes a machine file alone",
                hint="leave out --machine, --self-test, --ticks and --controller",
            )
        how = {"measure": not no_measure, "force": force, "as_json": as_json, "quiet": quiet}
        return write_bringup(gait, output, upload, **how)
    plan = load_plan(gait, machine)
    own = templates is not None
    files = _files(plan, target, output, templates)
    if trace is None and ticks is not None:
        raise MisuseError("--ticks belongs to --self-test, and there is none")
    if trace is not None:
        files |= _selftest(plan, trace, ticks, own=own or target != "portable")
    if upload is not None and (own or target != "board"):
        raise MisuseError("--upload needs a board's whole program", hint="--target board or bringup")
    on = chosen(plan, target, controller, never=no_measure, own=own)
    board = plan.wiring.board if plan.wiring is not None and target == "board" and not own else ""
    ready_to_upload(board, upload)
    job = Job(plan, files, Path(output), board, upload, CAUTION, as_json=as_json, quiet=quiet)
    if on is not None:
        job.measure(on, target, force=force)
    return job.finish(force=force)


def _files(plan: "Plan", target: str, output: str, templates: str | None) -> dict[str, str]:
    """Generate; a sketch is called as its folder, for the boards' editor wants that."""
    from sequencer.generate.render import generate

    sketch = Path(output).resolve().name if target == "board" else ""
    return generate(plan, target, Path(templates) if templates else None, sketch=sketch)


def _selftest(plan: "Plan", trace: str, ticks: int | None, *, own: bool) -> dict[str, str]:
    from sequencer.prove.inputs import first_ticks, recorded
    from sequencer.prove.selftest import selftest_files

    if own:
        raise MisuseError(
            "--self-test needs the built-in portable target", hint="leave out --templates and --target"
        )
    whole = recorded(trace, plan)
    return selftest_files(plan, whole if ticks is None else first_ticks(whole, ticks))
