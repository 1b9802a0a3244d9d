"""`sequencer check`: tell what is wrong with gaits."""

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import click

from sequencer.base.errors import FileErrors
from sequencer.base.findings import Finding, Severity, worst_first
from sequencer.cli.exploring import Explorer, exploring_options
from sequencer.cli.options import (
    FILE,
    json_option,
    machine_option,
    out,
    quiet_option,
    refuse_both,
    style,
    verb,
    write_out,
)
from sequencer.cli.progress import Progress

if TYPE_CHECKING:
    from sequencer.check.accepted import Accepted

MOST_SHOWN = 10
STANDARD_OUTPUT = "-"


@dataclass(slots=True)
class Told:
    """What the check found in all the gaits; `texts` holds what the files say, by the names they go by."""

    findings: list[Finding] = field(default_factory=list)
    accepted: "list[Accepted]" = field(default_factory=list)
    texts: dict[str, str] = field(default_factory=dict)
    unreadable: bool = False


@verb("check", "sequencer check stork.gait.yaml --strict")
@click.argument("gaits", metavar="GAIT...", type=FILE, nargs=-1, required=True)
@machine_option
@click.option("--strict", is_flag=True, help="Count warnings as errors.")
@click.option("--all", "show_all", is_flag=True, help=f"Show every finding, not only the {MOST_SHOWN} worst.")
@click.option("--accepted", "show_accepted", is_flag=True, help="Show what the files accept, too, and why.")
@click.option(
    "--sarif",
    metavar="[FILE]",
    is_flag=False,
    flag_value=STANDARD_OUTPUT,
    help="Write a SARIF 2.1.0 log, to standard output if there is no FILE.",
)
@click.option("--fix-preview", "preview", is_flag=True, help="Show what --fix would change, as a diff.")
@click.option("--fix", "mend", is_flag=True, help="Write the holds, timeouts and so on that settle findings.")
@exploring_options
@json_option
@quiet_option
def command(
    gaits: tuple[str, ...],
    machine: str | None,
    strict: bool,
    show_all: bool,
    show_accepted: bool,
    sarif: str | None,
    preview: bool,
    mend: bool,
    exhaustive: bool | None,
    counterexamples: str | None,
    as_json: bool,
    quiet: bool,
) -> int:
    """Tell what is wrong with gaits before power-on.

    Finds where the walk can get stuck, wait for something that can't happen, or leave no way to stop. Notes
    are for information. The exit code is 0 if there are no errors (with --strict no warnings either),
    1 if there are, and 2 if a file can't be read. A finding that is meant is accepted in the file, beside the
    place that it is about: accept: {CODE: why}.
    """
    from sequencer.cli import mending

    refuse_both(sarif, as_json=as_json)
    mending.refuse_odd(preview=preview, mend=mend, document=as_json or sarif is not None)
    how = Explorer(exhaustive, counterexamples, several=len(gaits) > 1, quiet=quiet)
    with Progress("checking", quiet=quiet) as bar:
        texts = mending.mend(gaits, machine, quiet=quiet) if mend else {}
        told = _judge(gaits, machine, texts, how, bar)
    if preview and not told.unreadable:
        mending.show(gaits, machine, told.texts, quiet=quiet)
    else:
        _print(told, sarif, show_all=show_all, show_accepted=show_accepted, as_json=as_json, quiet=quiet)
    if told.unreadable:
        return 2
    counted = {Severity.ERROR, Severity.WARNING} if strict else {Severity.ERROR}
    return int(any(finding.severity in counted for finding in told.findings))


def _judge(
    gaits: tuple[str, ...], machine: str | None, texts: dict[str, str], how: Explorer, bar: Progress
) -> Told:
    """Check all gaits; what several of them find in one machine file is told once."""
    from sequencer.api import Gait
    from sequencer.plan.build import load_plan

    told = Told(texts=texts)
    for gait in gaits:
        try:
            plan = load_plan(gait, machine, told.texts)
        except FileErrors as error:
            told.findings += error.findings
            told.unreadable = True
            continue
        exploring = how.exploring(gait, machine, bar)
        judged = Gait(plan).judge(exploring)
        how.write(gait, plan, exploring)
        told.findings += judged.findings
        told.accepted += judged.accepted
    told.accepted = list(dict.fromkeys(told.accepted))
    found = list(dict.fromkeys(told.findings))
    # a file's errors come in the order in which they make sense
    told.findings = found if told.unreadable and len(gaits) == 1 else worst_first(found)
    return told


def _print(
    told: Told, sarif: str | None, *, show_all: bool, show_accepted: bool, as_json: bool, quiet: bool
) -> None:
    if sarif is not None:
        _write_sarif(sarif, told)
        if sarif == STANDARD_OUTPUT:
            return
    if as_json:
        from sequencer.show.jsonout import findings_document

        out(findings_document(told.findings, told.accepted))
        return
    from sequencer.base.codes import CODES
    from sequencer.show.terminal import accepted_text, findings_text

    if show_accepted and told.accepted:
        out(accepted_text(told.accepted, style()) + "\n")
    if told.findings or not quiet:
        whys = {} if told.unreadable else {code: info.why for code, info in CODES.items()}
        most = None if show_all else MOST_SHOWN
        out(findings_text(told.findings, style(), most=most, whys=whys, accepted=len(told.accepted)))


def _write_sarif(target: str, told: Told) -> None:
    from sequencer.show.sarif import TOOL, sarif_document

    text = sarif_document(told.findings, told.accepted, texts=told.texts, unreadable=told.unreadable)
    write_out(target, (text + "\n").encode(), ours=f'"name": "{TOOL}"'.encode())
