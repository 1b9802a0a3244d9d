"""Building a program of one or many gaits for a controller, and replaying inputs on it."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from sequencer.base.errors import ToolError
from sequencer.build.emulators import INPUT, OUTPUT
from sequencer.build.sizes import Sizes, sizes_of
from sequencer.prove.controllers import Controller, build
from sequencer.prove.program import program_files, write_files
from sequencer.prove.wire import Form, Reply, decode_run, encode_run
from sequencer.trace.blocks import TickBlock

# what GNU ld says
_LINKER_SAYS_FULL = ("will not fit in region", "overflowed by", "is not within region")
_PATIENCE_S, _SLOWEST = 120, 200  # ticks in a second, of the largest gait on a busy machine
AROUND = 160  # bytes of stack on an 8-bit controller for the program around the tick


@dataclass(frozen=True, slots=True)
class Image:
    """A built program: what it runs on, the forms of its gaits in the order of their numbers, its sizes."""

    target: Controller
    forms: tuple[Form, ...]
    program: Path
    sizes: Sizes


class TooLarge(Exception):
    """The controller has not enough memory; the message says for what."""


def build_image(target: Controller, forms: Sequence[Form], folder: Path, *flags: str) -> Image:
    """Generate, compile and link in a folder.

    Raises ToolError with the compiler's output, TooLarge for what the controller has no room for.
    """
    files, sources = program_files(forms, target.port)
    write_files(files, folder)
    try:
        program = build(target, folder, sources, *flags)
    except ToolError as error:
        full = linker_says_full(error)
        if full:
            raise TooLarge(full) from error
        raise
    sizes = Sizes(0, 0) if target.compiler is None else sizes_of(target.compiler.size, program)
    if target.flash and sizes.flash > target.flash:
        raise TooLarge(f"needs {sizes.flash} of {target.flash} bytes of flash")
    if target.ram and sizes.ram + AROUND > target.ram:
        raise TooLarge(f"needs {sizes.ram + AROUND} of {target.ram} bytes of memory")
    return Image(target, tuple(forms), program, sizes)


def linker_says_full(error: ToolError) -> str:
    """Give words for a linker that found no room for a program; empty if something else is wrong."""
    if not any(words in error.output for words in _LINKER_SAYS_FULL):
        return ""
    over = re.search(r"overflowed by (\d+) bytes", error.output)
    return "the linker finds no room for it" + (f": it is {over[1]} bytes too long" if over else "")


def replay(image: Image, runs: Sequence[tuple[int, Sequence[TickBlock]]]) -> list[Reply]:
    """Run inputs on an image: for each run the index of its gait, and its blocks.

    Each run starts on memory that is not clean. Raises ToolError if the program does not come to its end.
    """
    folder = image.program.parent
    with (folder / INPUT).open("wb") as file:
        for index, blocks in runs:
            file.write(encode_run(index + 1, blocks, image.forms[index].plan))
        file.write(bytes([0]))
    ticks = sum(len(block) for _, blocks in runs for block in blocks)
    image.target.run(image.program, _PATIENCE_S + ticks / _SLOWEST)
    data = memoryview((folder / OUTPUT).read_bytes())
    replies, at = [], 0
    for index, blocks in runs:
        form, ticks = image.forms[index], sum(map(len, blocks))
        size = form.size(ticks)
        try:
            replies.append(decode_run(form, data[at : at + size], ticks))
        except ValueError as error:
            raise ToolError(f"the program on the {image.target.name} broke off: {error}") from error
        at += size
    return replies
