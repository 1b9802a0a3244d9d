"""Building a program of one or many gaits for a controller, and replaying inputs on it."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from sequencer.base.errors import ToolError
from sequencer.build.emulators import INPUT, OUTPUT
from sequencer.prove.controllers import Controller, build
from sequencer.prove.program import program_files, write_files
from sequencer.prove.wire import Form, Reply, decode_run, encode_run
from sequencer.trace.blocks import TickBlock


@dataclass(frozen=True, slots=True)
class Image:
    """A built program: what it runs on and the forms of its gaits, in the order of their numbers."""

    target: Controller
    forms: tuple[Form, ...]
    program: Path


def build_image(target: Controller, forms: Sequence[Form], folder: Path, *flags: str) -> Image:
    """Generate, compile and link in a folder. Raises ToolError with the compiler's output."""
    files, sources = program_files(forms, target.port)
    write_files(files, folder)
    return Image(target, tuple(forms), build(target, folder, sources, *flags))


def replay(image: Image, runs: Sequence[tuple[int, Sequence[TickBlock]]]) -> list[Reply]:
    """Run inputs on an image: for each run the index of its gait, and its blocks.

    Each run starts on memory that is not clean. Raises ToolError if the program does not come to its end.
    """
    folder = image.program.parent
    with (folder / INPUT).open("wb") as file:
        for index, blocks in runs:
            file.write(encode_run(index + 1, blocks, image.forms[index].plan.tick_ms))
        file.write(bytes([0]))
    image.target.run(image.program)
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
