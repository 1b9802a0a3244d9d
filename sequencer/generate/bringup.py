"""The target `bringup`: a program for a machine's first morning, made from the machine file alone.

It jogs and measures one joint at a time and prints what it found as lines for the machine file.
"""

from dataclasses import asdict
from pathlib import Path

from sequencer.base.errors import FileErrors
from sequencer.gait.load import load_machine
from sequencer.generate.board import io_files
from sequencer.generate.board_io import io_view
from sequencer.generate.board_views import sketch_file
from sequencer.generate.bringup_views import bringup_view
from sequencer.plan.build import machine_plan

SEND_SIZE = 512  # bytes of the buffer in which lines wait for the console


def bringup_files(machine: str | Path, sketch: str) -> dict[str, str]:
    """Write the bring-up program of a machine file: file name -> text.

    sketch: what it is to be called, as the folder that the files go to. Raises FileErrors, and MisuseError
    for a machine without wiring, a console or signals, or a sketch that cannot be called so.
    """
    from sequencer.generate.render import built_in, render_text, tidied

    plan = machine_plan(machine)
    loaded = load_machine(machine)
    if loaded.machine is None:
        raise FileErrors(list(loaded.findings))
    io = io_view(plan, SEND_SIZE)
    view = bringup_view(plan, io, loaded.machine.loops)
    names = {
        "joint_test.h.j2": "joint_test.h",
        "joint_test.cpp.j2": "joint_test.cpp",
        "bringup.h.j2": view.header,
        "bringup.cpp.j2": view.source,
        "sketch.ino.j2": sketch_file(sketch),
    }
    if view.servos:
        names |= {"servo_test.h.j2": "servo_test.h", "servo_test.cpp.j2": "servo_test.cpp"}
    environment = built_in("bringup")
    about = {"b": asdict(view), "io": asdict(io), "tool": view.tool}
    files = {
        made: tidied(render_text(environment, template, {}, **about)) for template, made in names.items()
    }
    return {**io_files(plan, SEND_SIZE), **files}
