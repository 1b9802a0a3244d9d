"""`sequencer generate MACHINE --target bringup`: the program for a machine's first morning."""

from pathlib import Path

from sequencer.base.errors import MisuseError
from sequencer.cli.options import out, say
from sequencer.cli.uploading import command_for, offer, ready_to_upload

CAUTION = (
    "This program drives joints into both ends of their travel. Hoist the machine, keep hands clear, and "
    "have somebody at the switch in the motors' supply."
)


def write_bringup(
    machine: str,
    output: str,
    port: str | None,
    *,
    gaitless: bool,
    force: bool,
    as_json: bool,
    quiet: bool,
) -> int:
    """Write the program into a folder and say so; gaitless: no option was given that belongs to a gait.

    port: where to upload it, or None. Raises what `bringup_files`, `write` and `offer` do, and MisuseError
    unless `gaitless`.
    """
    from sequencer.generate.bringup import bringup_files
    from sequencer.generate.files import write
    from sequencer.plan.build import machine_plan

    if not gaitless:
        raise MisuseError(
            "the target bringup takes a machine file alone",
            hint="leave out --machine, --self-test, --ticks and --controller",
        )
    wiring = machine_plan(machine).wiring
    board, folder = wiring.board if wiring is not None else "", Path(output)
    ready_to_upload(board, port)
    # the boards' editor wants a sketch to be called as its folder
    done = write(bringup_files(machine, folder.resolve().name), folder, force=force)
    if not as_json and not quiet:
        out("".join(f"written: {path}\n" for path in done.written))
        out("".join(f"kept, it is yours: {path}\n" for path in done.kept))
        say(CAUTION)
    offer(board, folder, port, None, quiet=quiet or as_json)
    if as_json:
        from sequencer.show.jsonout import document

        written, kept = ([str(path) for path in paths] for paths in (done.written, done.kept))
        command = command_for(board, folder, port)
        out(document("files", {"written": written, "kept": kept, "upload": command}))
    return 0
