"""Opening a recording for the verbs that run a gait on one, with what there is to say about it."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from sequencer.base.errors import MisuseError
from sequencer.cli.following import HELPING, split_once
from sequencer.cli.options import say
from sequencer.cli.progress import Progress
from sequencer.show.text import clean

if TYPE_CHECKING:
    from sequencer.plan.tables import Plan
    from sequencer.trace.blocks import TickBlock
    from sequencer.trace.read import TraceReader

REMOTE = "remote"  # with --on: heard in every tick
MOST_KEPT_BYTES = 50_000_000  # of a recording whose ticks are kept in memory
_FAR_APART = 100  # times a sensor's period; milliseconds taken for seconds make it 1000


@dataclass(frozen=True, slots=True)
class Recording:
    """A recording and how it is to be read, as they were typed."""

    trace: str
    mapping: tuple[str, ...]
    on: tuple[str, ...]
    quiet: bool
    run: int | None = None


def is_long(trace: str) -> bool:
    """Tell whether a recording is so long that its ticks are not kept in memory unless that is asked for."""
    path = Path(trace)
    return trace != "-" and path.is_file() and path.stat().st_size > MOST_KEPT_BYTES


@contextmanager
def opened(plan: "Plan", how: Recording) -> "Iterator[Iterator[TickBlock]]":
    """Open a recording, say what of the machine it has no column for, and give its blocks.

    Raises MisuseError, TraceError.
    """
    from sequencer.trace.layout import TraceOptions
    from sequencer.trace.read import open_trace

    own = {switch.name for switch in plan.switches}
    heard, helped = (name in how.on and name not in own for name in (REMOTE, HELPING))
    switches = frozenset(how.on) - {name for name in (REMOTE, HELPING) if name not in own}
    options = TraceOptions(split_once(how.mapping, "OURS=THEIRS"), switches, heard, how.run, helped)
    with open_trace(how.trace, plan, options) as reader, Progress("dry-run", quiet=how.quiet) as bar:
        _fit_options(reader, how)
        _refuse_own(reader, how.trace)
        for line in reader.remarks:
            say(clean(line), quiet=how.quiet)
        if reader.unused and len(reader.missing) == len(plan.signals):
            raise MisuseError(
                f"no column of {how.trace} is a signal of {plan.machine}",
                hint=f"say which is which, such as --map {reader.missing[0]}={reader.unused[0]}",
            )
        if reader.unused:
            say(f"columns not used: {', '.join(reader.unused)}", quiet=how.quiet)
        for line in _absent(reader, plan, how.on, heard=heard):
            say(line, quiet=how.quiet)
        yield _counted(reader, bar)
        if line := _far_apart(reader, plan):
            say(line, quiet=how.quiet)


def _fit_options(reader: "TraceReader", how: Recording) -> None:
    if reader.of_machine and how.on:
        raise MisuseError("--on belongs to a recording without that column; a telemetry log tells all of it")
    if not reader.of_machine and how.run is not None:
        raise MisuseError("--run belongs to a telemetry log, which may hold several runs")


def _refuse_own(reader: "TraceReader", trace: str) -> None:
    """Raise MisuseError for what `dry-run --out` wrote: it tells phases and has lost what was not fresh."""
    words = {name.rpartition(".")[2] for name in reader.unused}
    if words >= {"phase", "cause", "drives"}:
        raise MisuseError(
            f"{clean(trace)} tells a run that dry-run made; it is not what the machine measured",
            hint="give the recording that it was made from; to look at it as it is, leave --gait out",
        )


def _absent(reader: "TraceReader", plan: "Plan", on: tuple[str, ...], *, heard: bool) -> list[str]:
    """Say what of the machine the recording has no column for, and what that comes to."""
    lines = []
    if reader.missing:
        lines.append(f"signals without a column: {', '.join(reader.missing)}")
    likely = {name.lower(): name for name in reader.unused}
    for signal in reader.missing:
        if column := likely.get(signal.lower()):
            lines.append(f"    if {column} is {signal}: --map {signal}={column}")
    columns = reader.layout.columns
    events = {c.index for c in columns if c.role == "event"}
    if never := [event.name for i, event in enumerate(plan.events) if i not in events]:
        lines.append(f"events without a column, so they never come: {', '.join(never)}")
    switches = {c.index for c in columns if c.role == "switch"}
    off = [s.name for i, s in enumerate(plan.switches) if i not in switches and s.name not in on]
    if off:
        lines.append(f"switches without a column, so they are off: {', '.join(off)} (or --on {off[0]})")
    if plan.remote is not None and all(c.role != "remote" for c in columns):
        said = [c.name for c in columns if c.role == "event" and c.index in plan.remote.events]
        said += [c.name for c in columns if c.role == "switch" and c.index in plan.remote.switches]
        where = f"where a cell of {' or '.join(said)} is filled (--on remote: in every tick)"
        lines.append(f"no column remote, so it is heard {where if said and not heard else 'in every tick'}")
    return lines


def _far_apart(reader: "TraceReader", plan: "Plan") -> str:
    """Say so if rows are so far apart that the times may be milliseconds taken for seconds."""
    time = reader.layout.time
    signals = (plan.signals[c.index] for c in reader.layout.columns if c.role == "signal")
    periods = [(signal.every_us, signal.name) for signal in signals if signal.every_us]
    if not periods or reader.rows < 2 or time.name not in ("time", "t"):
        return ""
    every_us, name = min(periods)
    apart_us = reader.ticks * plan.tick_ms * 1000 / reader.rows
    if apart_us < _FAR_APART * every_us:
        return ""
    return (
        f"rows are {apart_us / 1e6:.3g} s apart, but {name} comes every {every_us / 1000:g} ms: "
        f"if the times are milliseconds, call the column {time.name} [ms]"
    )


def _counted(reader: "TraceReader", bar: Progress) -> "Iterator[TickBlock]":
    for block in reader:
        bar.update(reader.ticks)
        yield block
