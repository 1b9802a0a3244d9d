"""`sequencer generate`: the controller's source code."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from sequencer.base.errors import MisuseError
from sequencer.cli.options import (
    FILE,
    json_option,
    machine_option,
    out,
    quiet_option,
    say,
    verb,
)

if TYPE_CHECKING:
    from sequencer.plan.tables import Plan

CAUTION = "A stop in this code is a functional stop, not an emergency stop: that one belongs into the supply."

FIRST_MORNING = (
    "This program drives joints into both ends of their travel. Hoist the machine, keep hands clear, and have "
    "somebody at the switch in the motors' supply."
)


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
@click.option("--force", is_flag=True, help="Overwrite files that were not generated.")
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
    """
    from sequencer.generate.files import write
    from sequencer.generate.render import generate
    from sequencer.plan.build import load_plan

    if trace is None and ticks is not None:
        raise MisuseError("--ticks belongs to --self-test, and there is none")
    sketch = Path(output).resolve().name  # the boards' editor wants it to be called as its folder
    if target == "bringup" and templates is None:
        files = _bringup(gait, sketch, gaitless=machine is None and trace is None)
    else:
        plan = load_plan(gait, machine)
        files = generate(plan, target, Path(templates) if templates else None, sketch=sketch)
        if trace is not None:
            files |= _selftest(plan, trace, ticks, own=templates is not None or target != "portable")
    done = write(files, Path(output), force=force)
    if as_json:
        from sequencer.show.jsonout import document

        written, kept = ([str(path) for path in paths] for paths in (done.written, done.kept))
        out(document("files", {"written": written, "kept": kept}))
    elif not quiet:
        out("".join(f"written: {path}\n" for path in done.written))
        out("".join(f"kept, it is yours: {path}\n" for path in done.kept))
        say(FIRST_MORNING if target == "bringup" else CAUTION)
    return 0


def _bringup(machine: str, sketch: str, *, gaitless: bool) -> dict[str, str]:
    from sequencer.generate.bringup import bringup_files

    if not gaitless:
        raise MisuseError(
            "--machine and --self-test belong to a gait, and bringup takes a machine file alone"
        )
    return bringup_files(machine, sketch)


def _selftest(plan: "Plan", trace: str, ticks: int | None, *, own: bool) -> dict[str, str]:
    from sequencer.prove.inputs import first_ticks, recorded
    from sequencer.prove.selftest import selftest_files

    if own:
        raise MisuseError(
            "--self-test needs the built-in portable target", hint="leave out --templates and --target"
        )
    whole = recorded(trace, plan)
    return selftest_files(plan, whole if ticks is None else first_ticks(whole, ticks))
