"""The library's front door: load a gait, then ask it things.

::

    import sequencer

    gait = sequencer.load("examples/stork/stork.gait.yaml")
    for finding in gait.check():
        print(finding.place, finding.message)
    run = gait.dry_run(duration_s=30)
    gait.draw("stork.svg")
    gait.report("stork.html", run)
    gait.generate("out")
"""

from collections.abc import Iterable
from pathlib import Path
from typing import IO, TYPE_CHECKING, Literal

from sequencer.base.errors import MisuseError
from sequencer.base.findings import Finding
from sequencer.plan.build import load_plan, parse_plan
from sequencer.plan.tables import Plan

if TYPE_CHECKING:
    from sequencer.check import Exploring
    from sequencer.check.accepted import Judged
    from sequencer.generate.files import Written
    from sequencer.history.blocks import Executor
    from sequencer.history.recorder import Watch
    from sequencer.history.rounding import Rounding
    from sequencer.history.run import Run
    from sequencer.rehearse.plant import RehearsalOptions
    from sequencer.rehearse.run import Rehearsal
    from sequencer.show.report.recorded import RunSource
    from sequencer.trace.blocks import TickBlock
    from sequencer.trace.follow import FollowOptions
    from sequencer.trace.layout import TraceOptions

ExecutorName = Literal["auto", "reference", "compiled", "both"]


def load(path: str | Path, machine: str | Path | None = None, *, as_written: bool = True) -> "Gait":
    """Read a gait file and its machine file (or `machine` instead of it).

    as_written: count in int16 if the machine file says so; else in binary32, whatever it says.

    Raises FileErrors; its `findings` hold every error of both files.
    """
    return Gait(load_plan(path, machine, as_written=as_written))


def loads(text: str, machine: str | Path | None = None) -> "Gait":
    """Read a gait from text. Raises FileErrors."""
    return Gait(parse_plan(text, machine))


def make_executor(plan: Plan, name: ExecutorName = "auto") -> "Executor":
    """Make an executor: auto takes the compiled one if a C++ compiler is found; both compares every tick.

    Raises ToolError if the compiled one is asked for and there is no compiler.
    """
    from sequencer.executors.compiled import CompiledExecutor, compiler_available
    from sequencer.executors.reference import ReferenceExecutor

    if name == "both":
        from sequencer.history.compare import TwinExecutor

        return TwinExecutor(ReferenceExecutor(plan), CompiledExecutor(plan))
    if name == "compiled" or (name == "auto" and compiler_available()):
        return CompiledExecutor(plan)
    if name in {"auto", "reference"}:
        return ReferenceExecutor(plan)
    raise MisuseError(f"there is no executor {name!r}", hint="reference, compiled, both or auto")


class Gait:
    """A loaded gait. `plan` holds its tables."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan

    def check(self, exploring: "Exploring | None" = None) -> list[Finding]:
        """Look for what is wrong with the walk and is not accepted by its files; worst first.

        exploring: how far to explore what sequences side by side may come to; it also takes the recordings
        that show what was found (`sequencer.check.Exploring`).
        """
        return self.judge(exploring).findings

    def judge(self, exploring: "Exploring | None" = None) -> "Judged":
        """Do the same; what the files accept is told apart."""
        from sequencer.check import judge

        return judge(self.plan, exploring)

    def draw(self, path: str | Path, kind: str | None = None) -> None:
        """Draw the walk; `kind` is svg, png, pdf or dot, by default what the path ends in.

        Raises ToolError if png or pdf is asked for and there is no graphviz program.
        """
        from sequencer.show.diagram import draw

        draw(self.plan, path, kind)

    def dry_run(
        self,
        trace: "str | Path | IO[bytes] | Iterable[TickBlock] | None" = None,
        *,
        duration_s: float = 60.0,
        executor: ExecutorName = "auto",
        margins: bool = True,
        reading: "TraceOptions | None" = None,
        following: "FollowOptions | None" = None,
        watch: "Watch | None" = None,
    ) -> "Run":
        """Run the walk against a recording or blocks of ticks; closed-loop without physics if there is none.

        duration_s: how long to follow. margins: keep every tick, so that margins and causes can be told;
        turn it off for recordings of many million ticks. watch: is given the record, with detail, block by
        block (see `sequencer.history.recorder.Recorder`). Raises TraceError, ToolError, DifferenceError.
        """
        from sequencer.history.drive import drive, drive_closed_loop
        from sequencer.history.recorder import Recorder

        recorder = Recorder(self.plan, keep_ticks=margins, watch=watch)
        runner = make_executor(self.plan, executor)
        detail = margins or watch is not None
        if trace is None:
            from sequencer.trace.follow import FollowPlant

            ticks = round(duration_s * 1000 / self.plan.tick_ms)
            return drive_closed_loop(
                runner, FollowPlant(self.plan, following), ticks, recorder, detail=detail
            )
        if isinstance(trace, str | Path) or hasattr(trace, "read"):
            from sequencer.trace.read import open_trace

            with open_trace(trace, self.plan, reading) as reader:  # type: ignore[arg-type]
                return drive(runner, reader, recorder, detail=detail)
        return drive(runner, trace, recorder, detail=detail)

    def report(self, path: str | Path, *runs: "Run | str | Path", notes: Iterable[str] = ()) -> None:
        """Write a page that shows a run, or two laid over each other, as ``sequencer report`` does.

        runs: recordings, which are run first, or runs of this gait whose ticks were kept; without any,
        signals follow their setpoints for a minute. notes: shown on top. What is at `path` is replaced.
        Raises what `dry_run` raises, and MisuseError for more than two runs.
        """
        from sequencer.base.files import write_whole
        from sequencer.show.report.build import report_bytes

        write_whole(Path(path), report_bytes(self.plan, self._shown(runs), self.check(), list(notes)))

    def plot(self, path: str | Path, *runs: "Run | str | Path", signals: Iterable[str] = ()) -> None:
        """Draw a run, or two laid over each other, as ``sequencer plot`` does; PNG, SVG or PDF by its ending.

        runs: as for `report`. signals: by name; all if none is named. What is at `path` is replaced. Raises
        what `dry_run` raises, ToolError without matplotlib, MisuseError for names that are not there.
        """
        from sequencer.base.files import write_whole
        from sequencer.show.plot.choice import PlotOptions
        from sequencer.show.plot.figure import kind_of, plot
        from sequencer.show.report.build import report_document

        kind = kind_of(str(path))
        document = report_document(self.plan, self._shown(runs))
        write_whole(Path(path), plot(document, kind, PlotOptions(tuple(signals))).data)

    def _shown(self, runs: "tuple[Run | str | Path, ...]") -> "list[RunSource]":
        from sequencer.show.report.build import made_from
        from sequencer.show.report.recorded import RunSource

        if len(runs) > 2:
            raise MisuseError("one run is shown, or two laid over each other")
        sources = []
        for run in runs or (self.dry_run(),):
            if isinstance(run, str | Path):
                figures = made_from(self.plan, run)
                sources.append(RunSource(Path(run).name, self.dry_run(run), figures=figures))
            else:
                sources.append(RunSource("run", run, figures=made_from(self.plan, None)))
        return sources

    def rehearse(
        self,
        body: str | Path,
        *,
        duration_s: float = 40.0,
        executor: ExecutorName = "auto",
        options: "RehearsalOptions | None" = None,
    ) -> "Rehearsal":
        """Let the walk move a body in physics, for so long or until it falls.

        body: a body file. Raises FileErrors for what is wrong with it, ToolError without MuJoCo, MisuseError
        for options that make no sense.
        """
        from sequencer.rehearse.engine import engine
        from sequencer.rehearse.read_body import load_body
        from sequencer.rehearse.run import rehearse

        found = load_body(body, self.plan)
        engine()  # before code is built: its absence is told first
        ticks = max(1, round(duration_s * 1000 / self.plan.tick_ms))
        return rehearse(make_executor(self.plan, executor), found, ticks, options)

    def rounding(
        self, plain: "Gait", blocks: "Iterable[TickBlock]", executor: ExecutorName = "auto"
    ) -> "Rounding":
        """Run this walk, in int16, and the same in binary32 on the same inputs, and compare the decisions.

        plain: the gait loaded with ``as_written=False``.
        """
        from sequencer.history.rounding import rounding

        kept = list(blocks)
        return rounding(*(gait.dry_run(kept, executor=executor) for gait in (self, plain)))

    def generate(
        self,
        folder: str | Path,
        *,
        target: str = "portable",
        templates: str | Path | None = None,
        force: bool = False,
    ) -> "Written":
        """Write the C++ sources into a folder; a hooks header that is there is kept.

        Raises MisuseError for files that were not generated, unless `force`.
        """
        from sequencer.generate.files import write
        from sequencer.generate.render import generate

        files = generate(self.plan, target, Path(templates) if templates else None)
        return write(files, Path(folder), force=force)
