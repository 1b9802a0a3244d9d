"""The target `board`: a complete program for a board with the Arduino core's interface."""

from typing import TYPE_CHECKING, Any

from sequencer.generate.board_io import io_record

if TYPE_CHECKING:
    from sequencer.plan.tables import Plan

_IO_TEMPLATES = {"header": "io.h.j2", "source": "io.cpp.j2", "hooks": "board_hooks.h.j2"}


def io_files(plan: "Plan", send_size: int = 255) -> dict[str, str]:
    """Write the input and output files of a plan's machine, and the start of its users' hooks.

    They are made from the machine alone: a plan without a walk will do. send_size: bytes of the buffer in
    which lines wait for the console. Raises MisuseError if the machine has no wiring.
    """
    from sequencer.generate.render import built_in, render_text, tidied

    io: dict[str, Any] = io_record(plan, send_size)
    environment = built_in("board")
    return {io[key]: tidied(render_text(environment, name, {}, io=io)) for key, name in _IO_TEMPLATES.items()}
