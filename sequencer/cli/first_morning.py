"""`sequencer generate MACHINE --target bringup`: the program for a machine's first morning."""

from dataclasses import replace
from pathlib import Path

from sequencer.cli.job import Job
from sequencer.cli.uploading import ready_to_upload

CAUTION = (
    "This program drives joints into both ends of their travel. Hoist the machine, keep hands clear, and "
    "have somebody at the switch in the motors' supply."
)


def write_bringup(
    machine: str, output: str, port: str | None, *, measure: bool, force: bool, as_json: bool, quiet: bool
) -> int:
    """Write the program into a folder and say so; gives the exit code.

    port: where to upload it, or None. measure: build it, and tell its flash and memory. Raises what
    `bringup_files` and `Job` do.
    """
    from sequencer.generate.bringup import bringup_files
    from sequencer.plan.boards import BOARDS
    from sequencer.plan.build import machine_plan

    plan = replace(machine_plan(machine), budget=None)  # that one is for the walk
    board, folder = plan.wiring.board if plan.wiring is not None else "", Path(output)
    ready_to_upload(board, port)
    # the boards' editor wants a sketch to be called as its folder
    files = bringup_files(machine, folder.resolve().name)
    job = Job(plan, files, folder, board, port, CAUTION, as_json=as_json, quiet=quiet)
    if measure and board in BOARDS:
        job.measure(board, "bringup", force=force)
    return job.finish(force=force)
