"""What `generate` measures on a controller: which, when, and how it is told."""

import shutil
import tempfile
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sequencer.base.errors import MisuseError
from sequencer.base.findings import Finding, Severity

if TYPE_CHECKING:
    from sequencer.plan.tables import Plan
    from sequencer.prove.measure import Measured
    from sequencer.show.text import Style

_SOURCES = (".ino", ".cpp", ".c", ".h")


def chosen(plan: "Plan", target: str, controller: str | None, *, never: bool, own: bool) -> str | None:
    """Choose what to measure on: what was asked for, the budget's, or the board that a program is for.

    None if nobody asked. own: the templates are the user's, of which nothing is known. Raises MisuseError.
    """
    from sequencer.plan.boards import BOARDS
    from sequencer.plan.budget import CONTROLLERS
    from sequencer.trace.layout import nearest

    known = [*CONTROLLERS, *BOARDS]
    if controller is not None and (own or never):
        other = "--templates" if own else "--no-measure"
        raise MisuseError(f"--controller and {other} do not go together")
    if controller is not None and controller not in known:
        hint = nearest(controller, known) or f"one of {', '.join(known)}"
        raise MisuseError(f"there is no controller {controller}", hint=hint)
    if never or own:
        return None
    board = plan.wiring.board if plan.wiring is not None else ""
    if target == "board" and board in BOARDS:
        if controller not in (None, board):
            raise MisuseError(f"the program is for board {board}", hint="leave out --controller")
        return board
    return controller or (plan.budget.controller if plan.budget is not None else None)


def fit(
    plan: "Plan", name: str, target: str, files: Mapping[str, str], folder: Path
) -> "tuple[Measured, bytes | None]":
    """Measure a gait's program; a board's as it will lie in `folder`, with the user's files.

    For the target bringup the plan is that of a machine alone, and no tick is timed. Also gives the
    file that is flashed, where the whole of a board's program was built.
    """
    from sequencer.plan.boards import BOARDS
    from sequencer.prove.measure import measure, measure_sketch

    if target not in {"board", "bringup"} or name not in BOARDS:
        return measure(plan, name), None
    with tempfile.TemporaryDirectory(prefix="gait-sequencer-") as scratch:
        program = Path(scratch) / "program.hex"
        sketch = as_written(files, folder, Path(scratch) / "sketch")
        if target == "board":
            done = measure(plan, name, sketch, keep=program)
        else:
            done = measure_sketch(BOARDS[name], sketch, keep=program)
        return done, program.read_bytes() if program.exists() else None


def as_written(files: Mapping[str, str], folder: Path, sketch: Path) -> Path:
    """Lay out a sketch as it will lie in `folder`: the user's files stay, all else is written anew."""
    from sequencer.generate.files import ONCE_LINE

    sketch.mkdir(parents=True)
    for path in folder.iterdir() if folder.is_dir() else ():
        if path.is_file() and path.suffix in _SOURCES:
            shutil.copyfile(path, sketch / path.name)
    for name, text in files.items():
        if not ((sketch / name).exists() and ONCE_LINE in text.partition("\n")[0]):
            (sketch / name).write_text(text, encoding="utf-8")
    return sketch


def findings_of(done: "Measured", plan: "Plan", *, force: bool) -> list[Finding]:
    """Tell what does not fit, as warnings if `force`; a budget for another controller is not looked at."""
    from dataclasses import replace

    from sequencer.prove.measure import misfits

    budget = plan.budget if plan.budget is not None and _same(plan.budget.controller, done.name) else None
    place = plan.wiring.place if plan.wiring is not None else plan.sequences[0].place
    found = misfits(done, budget, budget.place if budget is not None else place)
    return [replace(finding, severity=Severity.WARNING) for finding in found] if force else found


def _same(one: str, other: str) -> bool:
    """Tell whether two names are of one controller: a board's name, and that of the controller on it."""
    from sequencer.plan.boards import BOARDS

    on_them = {name: BOARDS[name].mcu for name in (one, other) if name in BOARDS}
    return one == other or on_them.get(one) == other or on_them.get(other) == one


def measured_text(done: "Measured", plan: "Plan", style: "Style") -> str:
    """Tell the figures in lines, and what could not be measured."""
    from sequencer.prove.measure import memory
    from sequencer.show.text import clean

    of_what = "the whole program" if done.whole else "the sequencer alone"
    lines = [style(f"on the {clean(done.title)}, {of_what}:", "bold")]
    if done.flash is not None:
        lines.append(f"  flash       {_part(done.flash, done.flash_of)}")
    total = memory(done)
    if total is not None:
        stack = (
            f", {done.stack} of them stack of a tick" if done.stack is not None else ", the stack not counted"
        )
        lines.append(f"  RAM         {_part(total, done.ram_of)}{stack}")
    if done.cost is not None:
        ms = done.cost.share * done.tick_ms
        worst = f"{ms:.3g} of {done.tick_ms} ms, {done.cost.share:.1%}"
        rate = f"{done.cost.worst} {done.cost.unit} at {done.cost.clock_hz / 1e6:g} MHz"
        lines.append(f"  worst tick  {worst} ({rate}, of {done.ticks} ticks; the sequencer's part)")
    lines += [f"  {clean(line)}" for line in _troubles(done, plan)]
    return "\n".join(lines)


def _part(amount: int, whole: int) -> str:
    return f"{amount} of {whole} bytes, {amount / whole:.1%}" if whole else f"{amount} bytes"


def _troubles(done: "Measured", plan: "Plan") -> list[str]:
    lines = []
    if done.package:
        what = "not measured" if done.flash is None and done.cost is None else "the rest is not measured"
        lines.append(f"{what}: install {done.package}")
    if done.reason:
        lines.append(done.reason)
        lines += [f"  {line}" for line in done.output.splitlines()[-12:]]
    if done.full:
        lines.append(f"not measured: {done.full}")
    if plan.budget is None:
        return lines
    if not _same(plan.budget.controller, done.name):
        lines.append(f"the budget is for {plan.budget.controller}: not looked at")
    elif unchecked(done, plan):
        lines.append("the budget was not looked at in full")
    return lines


def unchecked(done: "Measured", plan: "Plan") -> bool:
    """Tell whether something that the budget limits was not measured."""
    budget = plan.budget
    if budget is None:
        return False
    pairs = ((budget.flash, done.flash), (budget.ram, done.stack), (budget.worst_tick, done.cost))
    return any(limit is not None and taken is None for limit, taken in pairs)


def measured_content(done: "Measured") -> dict[str, Any]:
    """Give the figures as an object, null where there are none."""
    return asdict(done)
