"""The exceptions that this library raises.

::

    SequencerError              any error of ours; the command line turns it into exit code 2
    |-- FileErrors              a gait or machine file cannot be used; carries all its findings
    |-- TraceError              a recording or a trace script cannot be used; carries the place
    |-- ToolError               a compiler or layout program is missing or failed
    |-- MisuseError             an option or argument makes no sense
    `-- DifferenceError         two executors disagreed (exit code 1)

The library never prints; it raises one of these or returns data.
"""

from sequencer.base.findings import Finding
from sequencer.base.places import Place


class SequencerError(Exception):
    """Any error of this package. `message` is one plain sentence, `hint` the likely mend."""

    def __init__(self, message: str, *, hint: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint


class FileErrors(SequencerError):
    """A gait or machine file that cannot be used; `findings` holds every error of it."""

    def __init__(self, findings: list[Finding]) -> None:
        first = findings[0]
        more = f" (and {len(findings) - 1} more)" if len(findings) > 1 else ""
        super().__init__(f"{first.place}: {first.message}{more}", hint=first.fix)
        self.findings = tuple(findings)


class TraceError(SequencerError):
    """A recording or trace script that cannot be used; `place` says where."""

    def __init__(self, message: str, place: Place, *, expected: str = "", hint: str = "") -> None:
        super().__init__(message, hint=hint)
        self.place = place
        self.expected = expected


class ToolError(SequencerError):
    """A program that is needed is missing, or it failed; `output` is what it printed."""

    def __init__(self, message: str, *, hint: str = "", output: str = "") -> None:
        super().__init__(message, hint=hint)
        self.output = output


class MisuseError(SequencerError):
    """An option or argument that makes no sense."""


class DifferenceError(SequencerError):
    """Two executors gave different histories; `report` shows both states at the first difference."""

    def __init__(self, message: str, report: str) -> None:
        super().__init__(message)
        self.report = report
