"""The target `board`: a complete program for a board with the Arduino core's interface."""

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from sequencer.base.errors import FileErrors, MisuseError
from sequencer.base.findings import Severity
from sequencer.generate.board_io import io_record, need_wiring
from sequencer.generate.board_telemetry import telemetry_error
from sequencer.generate.board_views import board_view, send_size
from sequencer.plan.wiring import unwired

if TYPE_CHECKING:
    from sequencer.plan.tables import Plan

_IO_TEMPLATES = {"header": "io.h.j2", "source": "io.cpp.j2", "hooks": "board_hooks.h.j2"}
_BOARD_TEMPLATES = {
    "header": "board.h.j2",
    "source": "board.cpp.j2",
    "told": "told.h.j2",
    "sketch": "sketch.ino.j2",
}


def io_files(plan: "Plan", send_size: int = 255) -> dict[str, str]:
    """Write the input and output files of a plan's machine, and the start of its users' hooks.

    They are made from the machine alone: a plan without a walk will do. send_size: bytes of the buffer in
    which lines wait for the console. Raises MisuseError if the machine has no wiring.
    """
    io = io_record(plan, send_size)
    return _rendered(_IO_TEMPLATES, io, {}, {"io": io})


def board_files(plan: "Plan", view: dict[str, Any], sketch: str = "") -> dict[str, str]:
    """Write what a board's program has beside the portable files; `view` is the gait's view for these.

    sketch: what the sketch is to be called, by default as the gait. Raises MisuseError if the machine has no
    wiring or nothing could enable the motors, FileErrors for what has no wire and for telemetry that does not
    fit the console's baud.
    """
    need_wiring(plan)
    wrong = [finding for finding in unwired(plan) if finding.severity is Severity.ERROR]
    too_much = telemetry_error(plan)
    if too_much is not None:
        wrong.append(too_much)
    if wrong:
        raise FileErrors(wrong)
    io, b = io_record(plan, send_size(plan)), asdict(board_view(plan, sketch))
    files = _rendered(_IO_TEMPLATES, io, view, {"io": io, "b": b})
    more = _rendered(_BOARD_TEMPLATES, b, view, {"io": io, "b": b})
    twice = sorted(name for name in more if name in files)
    if twice:
        raise MisuseError(
            f"two generated files would be called {twice[0]}", hint="rename the gait or machine"
        )
    return files | more


def _rendered(
    templates: dict[str, str], names: dict[str, Any], view: dict[str, Any], more: dict[str, Any]
) -> dict[str, str]:
    from sequencer.generate.render import built_in, render_text, tidied

    environment = built_in("board")
    return {
        names[key]: tidied(render_text(environment, template, view, **more))
        for key, template in templates.items()
    }
