"""Generated files on their way into a folder: measured, judged, written, uploaded, told."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sequencer.base.findings import Finding
from sequencer.cli.fit import findings_of, fit, measured_content, measured_text
from sequencer.cli.options import out, say, style
from sequencer.cli.progress import Progress
from sequencer.cli.uploading import check_place, command_for, offer

if TYPE_CHECKING:
    from sequencer.generate.files import Written
    from sequencer.plan.tables import Plan
    from sequencer.prove.measure import Measured


@dataclass(slots=True)
class Job:
    """Files on their way into a folder: what was measured, what was found, and telling it.

    board: for which a program is, or empty. port: where to upload it, or None. caution: said at the end.
    """

    plan: "Plan"
    files: dict[str, str]
    folder: Path
    board: str
    port: str | None
    caution: str
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
            say(self.caution)

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
