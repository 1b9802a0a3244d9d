"""`sequencer new`: a machine file and a gait file to start from."""

import sys
from pathlib import Path

import click

from sequencer.base.errors import MisuseError
from sequencer.cli.options import FILE, json_option, out, quiet_option, verb


@verb("new", "sequencer new stork --legs 2 --joints lean,bend --sensors tilt,joint")
@click.argument("name")
@click.option("--legs", type=int, metavar="N", help="How many legs: 2 to 8 (default 2).")
@click.option("--joints", metavar="A,B", help="Joints, the one that lifts a foot last (default lean,bend).")
@click.option("--sensors", metavar="A,B", help="Of joint, tilt, load, battery (default joint,tilt).")
@click.option("--in", "folder", metavar="DIR", type=FILE, default=".", help="The folder (default: this one).")
@json_option
@quiet_option
def command(
    name: str,
    legs: int | None,
    joints: str | None,
    sensors: str | None,
    folder: str,
    as_json: bool,
    quiet: bool,
) -> int:
    """Write NAME.machine.yaml and NAME.gait.yaml to start from: commented, and fit to be dry-run.

    On a terminal it asks for what the options don't say. It never overwrites a file.

    Two legs lean over one foot and lift the other: the first joint leans the whole machine. More legs step
    one at a time: the first joint swings a leg forward.
    """
    from sequencer.base.files import write_all
    from sequencer.gait.starter import starter

    asking = sys.stdin.isatty() and sys.stdout.isatty() and not as_json
    if legs is None:
        legs = click.prompt("How many legs", default=2, type=click.IntRange(2, 8)) if asking else 2
    if joints is None:
        usual = "lean,bend" if legs == 2 else "swing,lift"
        joints = click.prompt("Which joints, the lifting one last", default=usual) if asking else usual
    if sensors is None:
        text = "Which sensors, of joint, tilt, load, battery"
        sensors = click.prompt(text, default="joint,tilt") if asking else "joint,tilt"
    files = starter(name, legs=legs, joints=_words(joints), sensors=_words(sensors))
    if not Path(folder).is_dir():
        raise MisuseError(f"there is no folder {folder}", hint=f"make it first: mkdir {folder}")
    paths = [Path(folder) / files.machine_name, Path(folder) / files.gait_name]
    for path in paths:  # look for both before either is written
        if path.exists():
            raise MisuseError(f"{path} exists already", hint="choose another name; nothing was written")
    write_all(zip(paths, (files.machine.encode(), files.gait.encode()), strict=True), replace=False)
    _tell(paths, as_json=as_json, quiet=quiet)
    return 0


def _words(text: str) -> tuple[str, ...]:
    return tuple(word.strip() for word in text.split(",") if word.strip())


def _tell(paths: list[Path], *, as_json: bool, quiet: bool) -> None:
    if as_json:
        from sequencer.show.jsonout import document

        out(document("files", {"written": [str(path) for path in paths]}))
    elif not quiet:
        out("".join(f"written: {path}\n" for path in paths) + f"next: sequencer check {paths[1]}")
