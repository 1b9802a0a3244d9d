"""What a program takes of one controller: flash, memory, the slowest tick; and whether that is too much.

For the target `board` flash and memory are those of the whole program, else those of the sequencer alone. The
slowest tick is always the sequencer's, out of a followed walk and random inputs on the emulated controller.
"""

import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from sequencer.base.errors import ToolError
from sequencer.base.findings import Finding, Severity
from sequencer.base.places import Place
from sequencer.build.arduino_core import build_sketch, missing_for_boards
from sequencer.build.cross import missing_package
from sequencer.plan.boards import BOARDS, Board
from sequencer.plan.budget_tables import Budget, Limit
from sequencer.plan.tables import Plan
from sequencer.prove.controllers import Controller, controller
from sequencer.prove.images import AROUND, TooLarge, build_image, linker_says_full, replay
from sequencer.prove.inputs import followed, random_traces
from sequencer.prove.report import Cost
from sequencer.prove.run import cost_of, footprint_of
from sequencer.prove.wire import Form, Reply

FOLLOWED, RANDOM, TICKS = 2000, 2, 1000
# the ATmega32U4 is not emulated; it has the instructions and their times of the ATmega328P (data sheets)
_TIMED_AS = {"atmega32u4": "atmega328p"}


@dataclass(frozen=True, slots=True)
class Measured:
    """What was measured. Bytes; `flash_of` and `ram_of` are what there is, 0 if nobody knows.

    whole: flash and ram are those of the whole program. ram: what is taken all the time; stack: the most that
    a tick took besides. ticks: how many were timed. package: what to install, if something was not measured.
    full: what found no room, empty if all has. reason, output: what went wrong, if something did.
    """

    name: str
    title: str
    tick_ms: int
    whole: bool
    flash: int | None = None
    flash_of: int = 0
    ram: int | None = None
    ram_of: int = 0
    stack: int | None = None
    cost: Cost | None = None
    ticks: int = 0
    package: str = ""
    full: str = ""
    reason: str = ""
    output: str = ""


def measure(plan: Plan, name: str, sketch: Path | None = None, *, keep: Path | None = None) -> Measured:
    """Measure a gait's program on a controller or a known board.

    sketch: the folder of a board's program, whose whole is measured then; the file that is flashed goes to
    `keep`. What cannot be measured, for want of a tool or because it does not compile, is left out, and said
    in the result.
    """
    board = BOARDS.get(name)
    chip = controller(_TIMED_AS.get(board.mcu, board.mcu) if board is not None else name)
    flash, ram = (board.flash, board.ram) if board is not None else (chip.flash, chip.ram)
    title = chip.title if board is None else board.title
    done = Measured(name, title, plan.tick_ms, sketch is not None, flash_of=flash, ram_of=ram)
    with tempfile.TemporaryDirectory(prefix="gait-sequencer-") as folder:
        try:
            done = _ticks(done, plan, chip, Path(folder))
            if sketch is not None and board is not None:
                return _whole(done, board, sketch, Path(folder) / "whole", keep)
        except TooLarge as error:
            return replace(done, full=str(error))
        except ToolError as error:
            return replace(done, reason=error.message, output=error.output)
    return done


def measure_sketch(board: Board, sketch: Path, *, keep: Path | None = None) -> Measured:
    """Measure flash and memory of a board's program that runs no walk; `keep` as in `measure`."""
    done = Measured(board.name, board.title, 0, True, flash_of=board.flash, ram_of=board.ram)
    with tempfile.TemporaryDirectory(prefix="gait-sequencer-") as folder:
        try:
            return _whole(done, board, sketch, Path(folder), keep)
        except TooLarge as error:
            return replace(done, full=str(error))
        except ToolError as error:
            return replace(done, reason=error.message, output=error.output)


def _ticks(done: Measured, plan: Plan, chip: Controller, folder: Path) -> Measured:
    """Time ticks, and take the sizes of the sequencer alone."""
    if chip.compiler is None or missing_package(chip.compiler):
        return replace(done, package=chip.missing())
    done = _sizes(done, plan, chip, [], folder / "sizes")
    package = chip.missing()
    if package:
        return replace(done, package=package)
    blocks = [followed(plan, FOLLOWED).block, *(t.block for t in random_traces(plan, RANDOM, TICKS))]
    try:
        image = build_image(chip, [Form(plan, watched=False, leaves=range(0))], folder / "timed")
    except TooLarge as error:
        return replace(done, reason=f"no tick was timed, for the proof's program is too large: {error}")
    replies = replay(image, [(0, [block]) for block in blocks])
    done = _sizes(done, plan, chip, replies, folder / "sizes")
    return replace(done, cost=cost_of(chip, plan, replies), ticks=sum(map(len, blocks)))


def _sizes(done: Measured, plan: Plan, chip: Controller, replies: list[Reply], folder: Path) -> Measured:
    try:
        taken = footprint_of(chip, plan, replies, folder)
    except ToolError as error:
        full = linker_says_full(error)
        if full:
            raise TooLarge(full) from error
        raise
    if taken is None:
        return done
    return replace(done, flash=taken.flash, ram=taken.ram, stack=taken.stack if replies else None)


def _whole(done: Measured, board: Board, sketch: Path, output: Path, keep: Path | None) -> Measured:
    """Take the sizes of a board's whole program."""
    package = missing_for_boards()
    if package:
        both = " ".join(dict.fromkeys(f"{done.package} {package}".split()))
        return replace(done, flash=None, ram=None, package=both)
    try:
        built = build_sketch(board, sketch, output)
    except ToolError as error:
        full = linker_says_full(error)
        if full:
            raise TooLarge(full) from error
        failed = f"the program does not compile: {error.message}"
        return replace(done, flash=None, ram=None, reason=failed, output=error.output)
    if keep is not None:
        shutil.copyfile(built.hex, keep)
    return replace(done, flash=built.sizes.flash, ram=built.sizes.ram)


def misfits(done: Measured, budget: Budget | None, place: Place) -> list[Finding]:
    """Tell what does not fit: into the controller at all, or into the budget.

    A whole program also needs stack around the tick, for calls and interrupts: AROUND bytes.
    """
    found = [_finding("no-room", place, f"{done.title}: {done.full}")] if done.full else []
    ram = memory(done)
    needed = ram + AROUND if done.whole and ram is not None else ram
    for what, taken, there in (("flash", done.flash, done.flash_of), ("memory", needed, done.ram_of)):
        if taken is not None and there and taken > there:
            text = f"the program takes {taken} of {there} bytes of {what} on the {done.title}"
            found.append(_finding("no-room", place, text))
    if done.cost is not None and done.cost.share > 1:
        text = f"the slowest tick takes {done.cost.share:.0%} of a tick on the {done.title}"
        found.append(_finding("no-room", place, text))
    return found + (list(_over(done, ram, budget)) if budget is not None else [])


def memory(done: Measured) -> int | None:
    """Give the memory that is needed: what is taken all the time, and the stack of a tick where measured."""
    return None if done.ram is None else done.ram + (done.stack or 0)


def _over(done: Measured, ram: int | None, budget: Budget) -> Iterator[Finding]:
    rows: list[tuple[str, Limit | None, float | None, float, str]] = [
        ("flash", budget.flash, done.flash, done.flash_of, "bytes"),
        ("ram", budget.ram, ram, done.ram_of, "bytes"),
    ]
    if done.cost is not None:
        taken_ms = done.cost.share * done.tick_ms
        rows.append(("worst_tick", budget.worst_tick, taken_ms, done.tick_ms, "ms"))
    for what, limit, taken, whole, unit in rows:
        if limit is not None and taken is not None and taken > limit.of(whole):
            text = f"{what} takes {_words(taken)} {unit} on the {done.title}"
            yield _finding("over-budget", limit.place, text, f"at most {_words(limit.of(whole))} {unit}")


def _words(amount: float) -> str:
    return f"{amount:.0f}" if amount >= 100 else f"{amount:.3g}"


def _finding(code: str, place: Place, text: str, expected: str = "") -> Finding:
    fix = "a larger controller, fewer phases and guards, a longer tick" if code == "no-room" else ""
    return Finding(code, Severity.ERROR, place, text, expected=expected, fix=fix)
