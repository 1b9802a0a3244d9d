"""`sequencer generate MACHINE --target bringup`: the program for a machine's first morning."""

from pathlib import Path

from sequencer.base.errors import MisuseError
from sequencer.cli.options import out, say

CAUTION = (
    "This program drives joints into both ends of their travel. Hoist the machine, keep hands clear, and "
    "have somebody at the switch in the motors' supply."
)


def write_bringup(
    machine: str, output: str, *, gaitless: bool, force: bool, as_json: bool, quiet: bool
) -> int:
    """Write the program into a folder and say so; gaitless: no option was given that belongs to a gait.

    Raises what `bringup_files` and `write` do, and MisuseError unless `gaitless`.
    """
    from sequencer.generate.bringup import bringup_files
    from sequencer.generate.files import write

    if not gaitless:
        raise MisuseError(
            "the target bringup takes a machine file alone",
            hint="leave out --machine, --self-test, --ticks and --controller",
        )
    # the boards' editor wants a sketch to be called as its folder
    done = write(bringup_files(machine, Path(output).resolve().name), Path(output), force=force)
    if as_json:
        from sequencer.show.jsonout import document

        written, kept = ([str(path) for path in paths] for paths in (done.written, done.kept))
        out(document("files", {"written": written, "kept": kept}))
    elif not quiet:
        out("".join(f"written: {path}\n" for path in done.written))
        out("".join(f"kept, it is yours: {path}\n" for path in done.kept))
        say(CAUTION)
    return 0
