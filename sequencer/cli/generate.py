"""`sequencer generate`: the controller's source code."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from sequencer.base.errors import MisuseError
from sequencer.base.findings import Finding
from sequencer.cli.first_morning import write_bringup
from sequencer.cli.fit import chosen, findings_of, fit, measured_content, measured_text
from sequencer.cli.options import (
    FILE,
    json_option,
    machine_option,
    out,
    quiet_option,
    say,
    style,
    verb,
)
from sequencer.cli.progress import Progress
from sequencer.cli.uploading import check_place, command_for, offer, ready_to_upload

if TYPE_CHECKING:
    from sequencer.generate.files import Written
    from sequencer.plan.tables import Plan
    from sequencer.prove.measure import Measured

CAUTION = "A stop in this code is a functional stop, not an emergency stop: that one belongs into the supply."


@verb("generate", "sequencer generate stork.gait.yaml -o firmware")
@click.argument("gait", metavar="GAIT|MACHINE", type=FILE)
@machine_option
@click.option("--target", default="portable", show_default=True, help="What the code is for (see above).")
@click.option("-o", "--output", metavar="DIR", required=True, type=FILE, help="The folder for the files.")
@click.option("--templates", metavar="DIR", type=FILE, help="A folder with templates of your own.")
@click.option(
    "--self-test",
    "trace",
    metavar="TRACE",
    type=FILE,
    help="Add a program that replays this recording and prints.",
)
@click.option("--ticks", type=click.IntRange(min=1), help="Only so many ticks of the self-test's recording.")
@click.option(
    "--controller",
    metavar="NAME",
    help="Measure on it: atmega328p, atmega2560, cortex-m3, cortex-m4f, or a board.",
)
@click.option("--no-measure", is_flag=True, help="Measure nothing, whatever the files say.")
@click.option("--upload", metavar="PORT", help="Upload a board's program over this port, with avrdude.")
@click.option(
    "--force", is_flag=True, help="Overwrite files that were not generated; write what does not fit."
)
@json_option
@quiet_option
def command(
    gait: str,
    machine: str | None,
    target: str,
    output: str,
    templates: str | None,
    trace: str | None,
    ticks: int | None,
    controller: str | None,
    no_measure: bool,
    upload: str | None,
    force: bool,
    as_json: bool,
    quiet: bool,
) -> int:
    """Generate C++ that does what the gait says, to the bit as the dry-run does it.

    The same gait gives the same bytes. The file with your own hooks is written once and never again.
    A stop in the generated code is a functional stop, not an emergency stop.

    The target portable is the walk alone, for a program of yours. board is a complete program for the board
    that the machine file's wiring describes. bringup is one for the first morning, made from a machine file
    alone: it jogs and measures one joint at a time. Hoist the machine for it.

    --self-test adds a program for this computer or a board of yours, which replays the recording and prints
    each tick's phases and setpoints (as bits), and the text that it must print.

    With --controller, a budget in the machine file or the target board, flash, memory and the slowest tick
    are measured with the cross compiler and the emulator. What does not fit is not written: exit code 1.

    For a board the command that uploads is printed, too; --upload PORT runs it.
    """
    from sequencer.plan.build import load_plan

    if target == "bringup" and templates is None:
        alone = not (machine or trace or ticks or controller)
        return write_bringup(gait, output, upload, gaitless=alone, force=force, as_json=as_json, quiet=quiet)
    plan = load_plan(gait, machine)
    own = templates is not None
    files = _files(plan, target, output, templates)
    if trace is None and ticks is not None:
        raise MisuseError("--ticks belongs to --self-test, and there is none")
    if trace is not None:
        files |= _selftest(plan, trace, ticks, own=own or target != "portable")
    if upload is not None and (own or target != "board"):
        raise MisuseError("--upload needs a board's whole program", hint="--target board or bringup")
    on = chosen(plan, target, controller, never=no_measure, own=own)
    board = plan.wiring.board if plan.wiring is not None and target == "board" and not own else ""
    ready_to_upload(board, upload)
    job = _Job(plan, files, Path(output), board, upload, as_json=as_json, quiet=quiet)
    if on is not None:
        job.measure(on, target, force=force)
    return job.finish(force=force)


def _files(plan: "Plan", target: str, output: str, templates: str | None) -> dict[str, str]:
    """Generate; a sketch is called as its folder, for the boards' editor wants that."""
    from sequencer.generate.render import generate

    sketch = Path(output).resolve().name if target == "board" else ""
    return generate(plan, target, Path(templates) if templates else None, sketch=sketch)


@dataclass(slots=True)
class _Job:
    """Files on their way into a folder: what was measured, what was found, and telling it.

    board: for which a program is, or empty. port: where to upload it, or None.
    """

    plan: "Plan"
    files: dict[str, str]
    folder: Path
    board: str
    port: str | None
    as_json: bool
    quiet: bool
    measured: "Measured | None" = None
    program: bytes | None = None
    findings: list[Finding] = field(default_factory=list)

    def measure(self, on: str, target: str, *, force: bool) -> None:
        """Measure on a controller or board, and find what does not fit."""
        with Progress("measuring", quiet=self.quiet):
            self.measured, self.program = fit(self.plan, on, target, self.files, self.folder)
        self.findings = findings_of(self.measured, self.plan, force=force)

    def finish(self, *, force: bool) -> int:
        """Write, upload and tell; what does not fit is not written without `force`. Gives the exit code."""
        from sequencer.generate.files import write

        if self.findings and not force:
            self._tell(None)
            return 1
        if self.board:
            check_place(self.folder)
        done = write(self.files, self.folder, force=force)
        if not self.as_json:
            self._tell(done)
        offer(self.board, self.folder, self.port, self.program, quiet=self.quiet or self.as_json)
        if self.as_json:  # one document, or that of the error
            self._tell(done)
        return 0

    def _tell(self, done: "Written | None") -> None:
        """Print what was measured, found and written (None: nothing was)."""
        if self.as_json:
            self._tell_json(done)
            return
        if self.measured is not None and not self.quiet:
            out(measured_text(self.measured, self.plan, style()))
        if self.findings:
            from sequencer.show.terminal import findings_text

            out(findings_text(self.findings, style()))
        if done is None:
            say("nothing was written; --force writes it all the same")
        elif not self.quiet:
            out("".join(f"written: {path}\n" for path in done.written))
            out("".join(f"kept, it is yours: {path}\n" for path in done.kept))
            say(CAUTION)

    def _tell_json(self, done: "Written | None") -> None:
        from sequencer.show.jsonout import document, finding_object

        paths = ((), ()) if done is None else (done.written, done.kept)
        written, kept = ([str(path) for path in group] for group in paths)
        more: dict[str, Any] = {}
        if self.measured is not None:
            more["measured"] = measured_content(self.measured)
            more["findings"] = [finding_object(finding) for finding in self.findings]
        if self.board and done is not None:
            more["upload"] = command_for(self.board, self.folder, self.port)
        out(document("files", {"written": written, "kept": kept, **more}))


def _selftest(plan: "Plan", trace: str, ticks: int | None, *, own: bool) -> dict[str, str]:
    from sequencer.prove.inputs import first_ticks, recorded
    from sequencer.prove.selftest import selftest_files

    if own:
        raise MisuseError(
            "--self-test needs the built-in portable target", hint="leave out --templates and --target"
        )
    whole = recorded(trace, plan)
    return selftest_files(plan, whole if ticks is None else first_ticks(whole, ticks))
