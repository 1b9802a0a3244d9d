"""Findings that the files accept, and acceptances that are no good."""

import difflib
from dataclasses import dataclass

from sequencer.base.acceptance import Acceptance
from sequencer.base.codes import CODES
from sequencer.base.codes_accept import CODES as ABOUT_ACCEPTING
from sequencer.base.codes_files import CODES as OF_FILES
from sequencer.base.findings import Finding, Severity
from sequencer.base.places import Place
from sequencer.plan.tables import Plan

_NEVER = {info.code for info in (*OF_FILES, *ABOUT_ACCEPTING)}  # these can't be accepted


@dataclass(frozen=True, slots=True)
class Accepted:
    """A finding that is accepted, why, and where the file says so."""

    finding: Finding
    because: str
    place: Place


@dataclass(frozen=True, slots=True)
class Judged:
    """What the check found: the open findings, and those that the files accept."""

    findings: list[Finding]
    accepted: list[Accepted]


def settle(plan: Plan, findings: list[Finding], not_sought: frozenset[str] = frozenset()) -> Judged:
    """Part the findings that the files accept from the open ones; add what is wrong with the acceptances.

    not_sought: codes that this check did not look for, so that nothing is said of their acceptances.
    """
    sound = [a for a in plan.acceptances if a.reason and a.code in CODES and a.code not in _NEVER]
    by_place = {(a.code, place): a for a in sound for place in a.covers}
    judged = Judged([], [])
    used: set[Place] = set()
    for finding in findings:
        acceptance = by_place.get((finding.code, finding.place))
        if acceptance is None:
            judged.findings.append(finding)
        else:
            used.add(acceptance.place)
            judged.accepted.append(Accepted(finding, acceptance.reason, acceptance.place))
    idle = [a for a in sound if a.place not in used and a.code not in not_sought]
    judged.findings.extend(_stale(acceptance, findings) for acceptance in idle)
    judged.findings.extend(_no_good(a) for a in plan.acceptances if a not in sound)
    return judged


def _stale(acceptance: Acceptance, findings: list[Finding]) -> Finding:
    elsewhere = [f.place for f in findings if f.code == acceptance.code and f.place in acceptance.inside]
    fix = "take it out"
    if elsewhere:
        fix = f"put it into the block in line {elsewhere[0].line}, which {acceptance.code} is about"
    elif acceptance.shared:
        fix = "nothing to do if another walk of this machine raises it; else take it out"
    return Finding(
        "stale-acceptance",
        Severity.NOTE if acceptance.shared else Severity.WARNING,
        acceptance.place,
        f"{acceptance.code} is accepted here, and the check does not find it here",
        fix=fix,
        notes=tuple((place, f"{acceptance.code} is found here") for place in elsewhere[:8]),
    )


def _no_good(acceptance: Acceptance) -> Finding:
    code = acceptance.code[:60]
    if acceptance.code in CODES and acceptance.code not in _NEVER:
        return Finding(
            "acceptance-without-reason",
            Severity.WARNING,
            acceptance.place,
            f"{code} is accepted without a reason, so it is not accepted",
            fix=f"accept: {{{code}: why it does no harm on this machine}}",
        )
    known = [known for known in CODES if known not in _NEVER]
    close = difflib.get_close_matches(code, known, n=1)
    message = f"there is no finding {code} to accept"
    fix = f"did you mean {close[0]}?" if close else "`sequencer explain` lists all codes; or take it out"
    if acceptance.code in CODES:
        message = f"{code} can't be accepted"
    elif " " in code:  # what follows a comma within braces is read as the next key
        message, fix = f"{code!r} is no code", "put quotes around a reason with a comma in it"
    return Finding("unknown-acceptance", Severity.WARNING, acceptance.place, message, fix=fix)
