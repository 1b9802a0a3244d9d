"""`sequencer check`: tell what is wrong with a gait."""

import click

from sequencer.base.errors import FileErrors
from sequencer.base.findings import Finding, Severity, worst_first
from sequencer.cli.options import gait_argument, json_option, machine_option, out, quiet_option, style, verb
from sequencer.cli.progress import Progress

MOST_SHOWN = 10


@verb("check", "sequencer check stork.gait.yaml --strict")
@gait_argument
@machine_option
@click.option("--strict", is_flag=True, help="Count warnings as errors.")
@click.option("--all", "show_all", is_flag=True, help=f"Show every finding, not only the {MOST_SHOWN} worst.")
@json_option
@quiet_option
def command(gait: str, machine: str | None, strict: bool, show_all: bool, as_json: bool, quiet: bool) -> int:
    """Tell what is wrong with a gait before power-on.

    Finds where the walk can get stuck, wait for something that can't happen, or leave no way to stop. Notes
    are for information. The exit code is 0 if there are no errors (with --strict no warnings either),
    1 if there are, and 2 if a file can't be read.
    """
    import sequencer

    try:
        with Progress("checking", quiet=quiet):
            findings = worst_first(list(sequencer.load(gait, machine=machine).check()))
        unreadable = False
    except FileErrors as error:
        findings, unreadable = list(error.findings), True
    _print(findings, show_all=show_all, as_json=as_json, quiet=quiet)
    if unreadable:
        return 2
    counted = {Severity.ERROR, Severity.WARNING} if strict else {Severity.ERROR}
    return int(any(finding.severity in counted for finding in findings))


def _print(findings: list[Finding], *, show_all: bool, as_json: bool, quiet: bool) -> None:
    if as_json:
        from sequencer.show.jsonout import findings_document

        out(findings_document(findings))
        return
    from sequencer.show.terminal import findings_text

    if findings or not quiet:
        out(findings_text(findings, style(), most=None if show_all else MOST_SHOWN))
