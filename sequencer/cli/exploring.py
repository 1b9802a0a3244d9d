"""How `check` explores: its options, the bar, and the recordings that it writes."""

import shlex
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from sequencer.base.errors import MisuseError
from sequencer.cli.options import FILE, say
from sequencer.cli.progress import Progress

if TYPE_CHECKING:
    from sequencer.check import Exploring
    from sequencer.plan.tables import Plan

Command = Callable[..., int]


def exploring_options(command: Command) -> Command:
    """Add the options to a verb."""
    command = click.option(
        "--counterexamples",
        metavar="DIR",
        type=FILE,
        help="Write a recording for each finding of the exploration, to be replayed by dry-run.",
    )(command)
    return click.option(
        "--exhaustive/--no-exhaustive",
        default=None,
        help="Explore what sequences side by side may come to, up to 4,000,000 configurations / not at all; "
        "else up to 20,000.",
    )(command)


@dataclass(frozen=True, slots=True)
class Explorer:
    """How far to explore, and where recordings go; with several gaits, into a folder for each."""

    exhaustive: bool | None
    folder: str | None
    several: bool
    quiet: bool

    def __post_init__(self) -> None:
        """Raise MisuseError if recordings are wanted of what is not explored."""
        if self.exhaustive is False and self.folder is not None:
            raise MisuseError("--counterexamples come of exploring, and --no-exhaustive leaves that out")
        if self.folder is not None and Path(self.folder).exists() and not Path(self.folder).is_dir():
            raise MisuseError(f"{self.folder} is a file, not a folder for recordings")

    def exploring(self, gait: str, machine: str | None, bar: Progress) -> "Exploring":
        """Say how to explore one gait."""
        from sequencer.check import Exploring
        from sequencer.check.explore.search import BY_DEFAULT, EXHAUSTIVE

        exploring = Exploring(BY_DEFAULT if self.exhaustive is None else EXHAUSTIVE, bar.update)
        if self.exhaustive is False:
            exploring.bounds = None
        if self.folder is not None:
            words = ["sequencer", "dry-run", gait, str(self._where(gait) / "NAME.csv"), "--executor", "both"]
            words += ["--machine", machine] if machine is not None else []
            exploring.replay = f"replay it: {shlex.join(words)}"
        return exploring

    def _where(self, gait: str) -> Path:
        assert self.folder is not None
        return Path(self.folder, Path(gait).name.partition(".")[0]) if self.several else Path(self.folder)

    def write(self, gait: str, plan: "Plan", exploring: "Exploring") -> None:
        """Write a recording for each finding; those of an earlier check are written over."""
        if self.folder is None:
            return
        from sequencer.trace.write import write_trace

        where = self._where(gait)
        where.mkdir(parents=True, exist_ok=True)
        for found in exploring.counterexamples:
            write_trace(where / f"{found.name}.csv", plan, [found.block], overwrite=True)
        count = len(exploring.counterexamples)
        say(f"{count} recording{'' if count == 1 else 's'} written to {where}", quiet=self.quiet)
