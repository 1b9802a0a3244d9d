"""The proof: every controller that can be run, every trace, every tick."""

import tempfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from sequencer.base.errors import ToolError
from sequencer.build.emulators import COUNTS_PER_INSTRUCTION
from sequencer.build.sizes import Sizes, sizes_of
from sequencer.executors.reference import ReferenceExecutor
from sequencer.history.blocks import HistoryBlock
from sequencer.history.compare import differing_ticks, first_difference
from sequencer.plan.tables import Plan
from sequencer.prove.controllers import CONTROLLERS, Controller, build
from sequencer.prove.images import AROUND, Image, TooLarge, build_image, replay
from sequencer.prove.inputs import Trace
from sequencer.prove.program import bare_files, write_files
from sequencer.prove.report import Cost, FirstDifference, Footprint, Proof, Row
from sequencer.prove.wire import Form, Reply, as_record

_PER_LEAF, _PER_SIGNAL = 5, 12  # bytes that noting a leaf or a signal takes


@dataclass(frozen=True, slots=True)
class Case:
    """A trace with what the reference makes of it."""

    trace: Trace
    record: HistoryBlock


def prove(
    plan: Plan,
    traces: Iterable[Trace],
    controllers: Sequence[Controller] = CONTROLLERS,
    *,
    flags: Sequence[str] = (),
    workers: int = 2,
    on_row: Callable[[Row], None] = lambda row: None,
) -> Proof:
    """Replay the traces on every controller that can be run, and compare each tick with the reference.

    Each trace runs twice, from memory that is not clean: on the files exactly as they are generated, and with
    hooks that report causes, samples and every comparison with its margin. flags: more for every compiler.
    on_row: told each row as it is done. A missing tool, a program that does not fit or does not run is a row,
    not an error.
    """
    cases = [Case(trace, ReferenceExecutor(plan).run(trace.block, detail=True)) for trace in traces]
    with ThreadPoolExecutor(max_workers=workers) as pool:
        rows = []
        for row in pool.map(lambda c: prove_on(c, plan, cases, flags), controllers):
            on_row(row)
            rows.append(row)
    told = tuple((case.trace.name, len(case.trace.block)) for case in cases)
    return Proof(plan.name, plan.sha, plan.tick_ms, told, tuple(rows))


def prove_on(target: Controller, plan: Plan, cases: Sequence[Case], flags: Sequence[str] = ()) -> Row:
    """Do one controller."""
    row = Row(target.name, target.title, "not run")
    package = target.missing()
    if package:
        return replace(row, package=package, reason=f"install {package}")
    with tempfile.TemporaryDirectory(prefix="gait-sequencer-") as folder:
        try:
            return _compared(target, plan, cases, tuple(flags), Path(folder), row)
        except TooLarge as error:
            return replace(row, outcome="too large", reason=str(error))
        except ToolError as error:
            return replace(row, outcome="failed", reason=error.message, output=error.output)


def _compared(
    target: Controller, plan: Plan, cases: Sequence[Case], flags: tuple[str, ...], folder: Path, row: Row
) -> Row:
    plain = build_image(target, [Form(plan, watched=False, leaves=range(0))], folder / "plain", *flags)
    replies = _replay(plain, cases)
    footprint = footprint_of(target, plan, replies, folder)
    row = _against(replace(row, outcome="equal"), replies, cases)
    row = replace(row, footprint=footprint, cost=cost_of(target, plan, replies))
    try:
        for number, leaves in enumerate(_windows(target, plan, plain.sizes, footprint)):
            form = Form(plan, watched=True, leaves=leaves)
            image = build_image(target, [form], folder / f"watched{number}", *flags)
            row = _against(row, _replay(image, cases), cases)
    except TooLarge as error:
        return replace(row, reason=f"only as generated, for it has no room to be watched: {error}")
    return row


def _replay(image: Image, cases: Sequence[Case]) -> list[Reply]:
    return replay(image, [(0, [case.trace.block]) for case in cases])


def _windows(target: Controller, plan: Plan, static: Sizes, footprint: Footprint | None) -> Iterator[range]:
    """Cut the leaves into as many parts as the memory asks for, at least one part."""
    total = len(plan.leaves)
    most = max(total, 1)
    if target.ram and footprint is not None:
        taken = static.ram + footprint.stack + AROUND + _PER_SIGNAL * len(plan.signals)
        most = min(most, (target.ram - taken) // _PER_LEAF)
        if most < 1:
            raise TooLarge(f"needs {taken + _PER_LEAF} of {target.ram} bytes of memory to be watched")
    for first in range(0, max(total, 1), most):
        yield range(first, min(first + most, total))


def _against(row: Row, replies: Sequence[Reply], cases: Sequence[Case]) -> Row:
    """Hold replies against the reference and add what comes out to the row."""
    for reply, case in zip(replies, cases, strict=True):
        record = as_record(reply, case.record)
        row = replace(row, ticks=row.ticks + len(record))
        difference = first_difference(reply.form.plan, case.record, record)
        if difference is not None:
            first = FirstDifference(case.trace.name, reply.form.watched, difference)
            count = row.differing + max(1, differing_ticks(case.record, record))
            row = replace(row, outcome="differs", differing=count, first=row.first or first)
    return row


def footprint_of(target: Controller, plan: Plan, replies: Sequence[Reply], folder: Path) -> Footprint | None:
    """Tell what a gait's sequencer takes on a controller; None for the host. `folder` is built in."""
    if target.compiler is None:
        return None
    taken = []
    for name, gait in (("empty", None), ("bare", plan)):
        files, sources = bare_files(gait, target.port)
        write_files(files, folder / name)
        taken.append(sizes_of(target.compiler.size, build(target, folder / name, sources)))
    sizes = taken[1].over(taken[0])
    stack = max((int(reply.frames["stack"].max(initial=0)) for reply in replies), default=0)
    return Footprint(sizes.flash, sizes.ram, replies[0].state if replies else 0, stack)


def cost_of(target: Controller, plan: Plan, replies: Sequence[Reply]) -> Cost | None:
    """Tell what ticks took that were replayed on a controller; None where nothing is counted."""
    if not target.unit or not replies:
        return None
    counts = np.concatenate([reply.frames["cost"] for reply in replies]).astype(np.float64)
    if target.unit == "instructions":
        counts = np.round(counts / COUNTS_PER_INSTRUCTION)
    worst = int(counts.max(initial=0))
    share = worst / (target.clock_hz * plan.tick_ms / 1000)
    return Cost(target.unit, worst, float(np.median(counts)), target.clock_hz, share)
