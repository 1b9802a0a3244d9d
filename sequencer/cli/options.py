"""Options and small helpers that several verbs share."""

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from sequencer.show.text import Style, style_for

F = TypeVar("F", bound=Callable[..., Any])

FILE = click.Path()  # only so that the shell completes file names; the loader tells what is wrong with one


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


def quiet_option(function: F) -> F:
    """Add --quiet."""
    return click.option("-q", "--quiet", is_flag=True, help="Print only what was asked for, and errors.")(
        function
    )


def out(text: str) -> None:
    """Write to standard output."""
    sys.stdout.write(text if text.endswith("\n") else text + "\n")


def say(text: str, *, quiet: bool = False) -> None:
    """Write a remark to standard error, where it can't mix with what was asked for."""
    if not quiet:
        sys.stderr.write(text + "\n")


def style() -> Style:
    """Return the colours for standard output."""
    return style_for(sys.stdout)


def write_out(target: str, data: bytes) -> None:
    """Write to a file, whole or not at all; with ``-`` to standard output."""
    if target == "-":
        sys.stdout.flush()
        sys.stdout.buffer.write(data)
        return
    from sequencer.base.files import write_whole

    write_whole(Path(target), data)
