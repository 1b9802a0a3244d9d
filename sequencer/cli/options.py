"""Options and small helpers that several verbs share."""

import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, TypeVar

import click

from sequencer.base.errors import MisuseError
from sequencer.show.text import Style, style_for

F = TypeVar("F", bound=Callable[..., Any])

LOOKED_AT = 4096  # bytes of a file that is to be replaced
FILE = click.Path()  # only so that the shell completes file names; the loader tells what is wrong with one


def verb(name: str, example: str) -> Callable[[Callable[..., int]], click.Command]:
    """Make a verb's command; its help ends with an example."""
    return click.command(name, epilog=f"\b\nExample:\n  {example}")


def gait_argument(function: F) -> F:
    """Add the argument GAIT."""
    return click.argument("gait", metavar="GAIT", type=FILE)(function)


def machine_option(function: F) -> F:
    """Add --machine."""
    text = "Run the gait on this machine file instead of the one it names."
    return click.option("--machine", metavar="FILE", type=FILE, help=text)(function)


def json_option(function: F) -> F:
    """Add --json."""
    return click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")(function)


def force_option(function: F) -> F:
    """Add --force."""
    return click.option("--force", is_flag=True, help="Overwrite a file of another kind.")(function)


def quiet_option(function: F) -> F:
    """Add --quiet."""
    return click.option("-q", "--quiet", is_flag=True, help="Print only what was asked for, and errors.")(
        function
    )


def out(text: str) -> None:
    """Write lines to standard output."""
    if text:
        sys.stdout.write(text if text.endswith("\n") else text + "\n")


def out_bytes(data: bytes) -> None:
    """Write bytes to standard output."""
    sys.stdout.flush()
    sys.stdout.buffer.write(data)


def say(text: str, *, quiet: bool = False) -> None:
    """Write a remark to standard error, where it can't mix with what was asked for."""
    if not quiet:
        sys.stderr.write(text + "\n")


def style() -> Style:
    """Return the colours for standard output."""
    return style_for(sys.stdout)


def refuse_both(target: str | None, *, as_json: bool) -> None:
    """Raise MisuseError if a file and the JSON document would both go to standard output."""
    if as_json and target == "-":
        raise MisuseError(
            "the file and the JSON document can't both go to standard output", hint="leave out --json"
        )


def write_out(target: str, data: bytes, *, ours: bytes, force: bool = False) -> None:
    """Write to a file, whole or not at all; with ``-`` to standard output.

    A file that is there already is only replaced if `ours` stands near its beginning, which says that it was
    made by the same verb, or by `force`.
    """
    if target == "-":
        out_bytes(data)
        return
    from sequencer.base.files import write_whole

    refuse_to_lose(target, ours=ours, force=force)
    write_whole(Path(target), data)


def refuse_inputs(target: str, made_from: Iterable[str]) -> None:
    """Raise MisuseError if the output would overwrite one of the files that it is made from."""
    path = Path(target)
    if target == "-" or not path.is_file():
        return
    if any(Path(source).exists() and path.samefile(source) for source in made_from):
        raise MisuseError(f"{target} is one of the files to be read", hint="give another name for the output")


def refuse_to_lose(target: str, *, ours: bytes, force: bool = False, made_from: Iterable[str] = ()) -> None:
    """Raise MisuseError if a file would be overwritten that was not made by the same verb (see `write_out`).

    made_from: files that it is made from, which even `force` does not overwrite.
    """
    refuse_inputs(target, made_from)
    path = Path(target)
    if target == "-" or not path.is_file():
        return
    with path.open("rb") as file:
        if not force and ours not in file.read(LOOKED_AT):
            raise MisuseError(
                f"{target} exists already and looks like something else",
                hint="give another name, or --force to overwrite it",
            )
