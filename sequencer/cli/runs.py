"""What the verbs that show a run take as RUN: a recording of a gait, a gait that follows itself, a log."""

import functools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, cast

import click

from sequencer.base.errors import MisuseError
from sequencer.cli.following import Following, following_options, split_once
from sequencer.cli.options import FILE, machine_option
from sequencer.cli.progress import Progress
from sequencer.cli.recording import Recording, is_long, opened

if TYPE_CHECKING:
    from sequencer.api import ExecutorName, Gait
    from sequencer.history.recorder import Watch
    from sequencer.history.run import Run
    from sequencer.show.report.document import Figure
    from sequencer.show.report.recorded import RunSource

F = TypeVar("F", bound=Callable[..., Any])

GAIT_ENDINGS = (".yaml", ".yml")
# up to here the ticks of a run without a recording are kept in memory; a longer one, as a long recording, is
# run three times, in blocks (DEVELOPERS.md)
MOST_KEPT_TICKS = 300_000


@dataclass(frozen=True, slots=True)
class Asked:
    """Runs and how they are to be made, as they were typed."""

    runs: tuple[str, ...]
    gait: str | None
    machine: str | None
    mapping: tuple[str, ...]
    run_number: int | None
    executor: "ExecutorName"
    following: Following
    quiet: bool


def run_options(function: F) -> Callable[..., int]:
    """Add RUN and how it is to be read and run, and hand all of it over as one `asked`."""

    @functools.wraps(function)
    def collected(**given: Any) -> int:
        names = ("runs", "gait", "machine", "mapping", "run_number", "executor", "following")
        asked = Asked(**{name: given.pop(name) for name in names}, quiet=given["quiet"])
        return cast("int", function(asked=gait_beside(asked), **given))

    options = [
        click.argument("runs", metavar="RUN [RUN2]", nargs=-1, required=True, type=FILE),
        click.option("--gait", metavar="FILE", type=FILE, help="The gait that the recording is run with."),
        machine_option,
        click.option(
            "--map", "mapping", multiple=True, metavar="OURS=THEIRS", help="A column of another name."
        ),
        click.option(
            "--run", "run_number", type=int, metavar="N", help="Which run of a telemetry log; else the last."
        ),
        click.option(
            "--executor",
            type=click.Choice(["auto", "reference", "compiled", "both"]),
            default="auto",
            show_default=True,
            help="As with dry-run.",
        ),
        following_options,
    ]
    command: Callable[..., int] = collected
    for option in reversed(options):
        command = option(command)
    return command


def gait_beside(asked: Asked) -> Asked:
    """Take a gait that stands beside a recording for the gait of it, as dry-run does.

    Named with --gait too, it is a run of its own: the recording is laid over the walk without one.
    """
    gaits = [run for run in asked.runs if is_gait(run)]
    if asked.gait is not None or len(gaits) != 1 or len(asked.runs) == 1:
        return asked
    return replace(asked, gait=gaits[0], runs=tuple(run for run in asked.runs if run != gaits[0]))


def beside(run: str, ending: str) -> str:
    """Name the file that belongs beside a RUN if no other is named: walk.csv -> walk.png."""
    if run == "-":
        return "-"
    path = Path(run)
    name = path.name.removesuffix(".gz")
    for its in (".gait.yaml", ".gait.yml", path.suffix):
        if its and name.endswith(its):
            name = name.removesuffix(its)
            break
    return str(path.with_name(name + ending))


def files_read(asked: Asked) -> list[str]:
    """List the files that were named and are read."""
    return [*asked.runs, *filter(None, (asked.gait, asked.machine))]


def is_gait(path: str) -> bool:
    """Tell whether a RUN is a gait file, by the ending of its name."""
    return path.lower().endswith(GAIT_ENDINGS)


def gait_asked(asked: Asked) -> str | None:
    """Return the gait file that the runs are of; None for logs without one.

    Raises MisuseError if what was typed does not fit together.
    """
    if not 1 <= len(asked.runs) <= 2:
        raise MisuseError("one RUN, or two to lay one over the other", hint="leave the others out")
    gaits = [run for run in asked.runs if is_gait(run)]
    if len(gaits) == 2:
        raise MisuseError(
            "two gaits can't be laid over each other",
            hint="a gait and a recording, or two recordings of one gait",
        )
    if gaits and asked.gait and asked.gait != gaits[0]:
        raise MisuseError(f"{gaits[0]} is a gait, and --gait names another one", hint="leave one of them out")
    gait = asked.gait or (gaits[0] if gaits else None)
    if "-" in asked.runs and (gait == "-" or asked.runs.count("-") > 1):
        raise MisuseError("standard input can be read once only")
    for option, given in (
        ("--run", asked.run_number),
        ("--machine", asked.machine),
    ):
        if given and gait is None:
            raise MisuseError(f"{option} belongs to a run of a gait", hint="say which with --gait")
    if not gaits:
        asked.following.refuse(but=("--on",) if gait else ())
    return gait


def run_sources(gait: "Gait", asked: Asked) -> "list[RunSource]":
    """Make the runs that were asked for, of one gait. Raises what reading and running them raises."""
    return [_followed(gait, asked) if is_gait(run) else _recorded(gait, run, asked) for run in asked.runs]


def _followed(gait: "Gait", asked: Asked) -> "RunSource":
    from sequencer.show.report.recorded import RunSource

    options = asked.following.options(gait.plan)
    seconds = asked.following.lasts_ms / 1000
    keep = asked.following.lasts_ms <= MOST_KEPT_TICKS * gait.plan.tick_ms

    def run(watch: "Watch | None") -> "Run":
        with Progress("running", quiet=asked.quiet):
            return gait.dry_run(
                duration_s=seconds,
                executor=asked.executor,
                margins=keep,
                following=options,
                watch=watch,
            )

    def again(watch: "Watch") -> None:
        run(watch)

    return RunSource("signals follow their setpoints", run(None), again, _figures(gait, None))


def _recorded(gait: "Gait", trace: str, asked: Asked) -> "RunSource":
    from sequencer.show.report.document import Figure
    from sequencer.show.report.recorded import RunSource
    from sequencer.show.report.rehearsed import holds_truth, truth_of

    on, number = asked.following.on, asked.run_number
    path = Path(trace)
    keep = not is_long(trace)

    def run(watch: "Watch | None", *, quiet: bool) -> "Run":
        with opened(gait.plan, Recording(trace, asked.mapping, on, quiet, number)) as blocks:
            return gait.dry_run(blocks, executor=asked.executor, margins=keep, watch=watch)

    def again(watch: "Watch") -> None:
        run(watch, quiet=True)

    name = "standard input" if trace == "-" else path.name
    made = run(None, quiet=asked.quiet)
    truth = truth_of(path, made, split_once(asked.mapping, "OURS=THEIRS")) if path.is_file() else None
    figures = list(_figures(gait, trace))
    if not keep and holds_truth(path):
        figures.append(Figure("columns of truth", "not shown of a run of this length"))
    return RunSource(name, made, again, figures, truth)


def _figures(gait: "Gait", trace: str | None) -> "Sequence[Figure]":
    from sequencer.show.report.build import made_from

    return made_from(gait.plan, None if trace == "-" else trace)
