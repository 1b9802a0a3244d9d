"""Small walks: each faulty one has one planted fault, named in its first line; the sound ones have none."""

import re
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest
from support.commands import REPOSITORY

from sequencer.base.codes import CODES
from sequencer.base.findings import Finding, Severity
from sequencer.check import check
from sequencer.plan.build import load_plan

CORPUS = REPOSITORY / "tests" / "corpus"
FAULTY = sorted((CORPUS / "faulty").glob("*.gait.yaml"))
SOUND = sorted((CORPUS / "sound").glob("*.gait.yaml"))
ALSO_SOUND = sorted((REPOSITORY / "tests" / "recordings").glob("*.gait.yaml"))
EXAMPLES = sorted((REPOSITORY / "examples").glob("*/*.gait.yaml"))


def expected(path: Path) -> tuple[str, int]:
    """Read the code and line from a faulty walk's first line."""
    first = path.read_text(encoding="utf-8").split("\n", 1)[0]
    match = re.fullmatch(r"# expect: ([a-z-]+) at (\d+)", first)
    assert match, first
    return match[1], int(match[2])


def told(findings: list[Finding], code: str = "") -> set[tuple[str, int]]:
    """Errors and warnings, and the notes of one code, with their lines."""
    return {(f.code, f.place.line) for f in findings if f.severity != Severity.NOTE or f.code == code}


def names(path: Path) -> str:
    return path.name.removesuffix(".gait.yaml")


@pytest.mark.parametrize("path", FAULTY, ids=names)
def test_a_planted_fault_is_found_at_its_line_and_nothing_else(path: Path) -> None:
    code, line = expected(path)
    findings = check(load_plan(path))
    assert told(findings, code) == {(code, line)}
    found = [f for f in findings if f.code == code]
    assert all(f.fix for f in found)
    assert all("..." not in f.fix or "because: ..." in f.fix or not load_plan(path).events for f in found)


@pytest.mark.parametrize("path", [*SOUND, *ALSO_SOUND, *EXAMPLES], ids=names)
def test_a_sound_walk_raises_no_error_and_no_warning(path: Path) -> None:
    assert told(check(load_plan(path))) == set()


def test_every_code_of_the_checks_has_a_faulty_walk() -> None:
    checked = set(re.findall(r'"([a-z]+(?:-[a-z]+)+)",\n\s+Severity', _sources()))
    assert checked - {expected(path)[0] for path in FAULTY} == set()
    assert {expected(path)[0] for path in FAULTY} <= set(CODES)


def _sources() -> str:
    return "".join(
        p.read_text(encoding="utf-8") for p in sorted((REPOSITORY / "sequencer/check").rglob("*.py"))
    )


def test_precision_and_recall_over_the_corpus(print_table: Callable[[str], None]) -> None:
    """Recall: planted faults found. Precision: errors and warnings that were planted."""
    planted, found, right, raised = Counter[str](), Counter[str](), 0, 0
    for path in FAULTY:
        code, line = expected(path)
        findings = told(check(load_plan(path)), code)
        planted[code] += 1
        found[code] += (code, line) in findings
        right += (code, line) in findings
        raised += len(findings)
    for path in SOUND:
        raised += len(told(check(load_plan(path))))
    rows = [f"{code:22} {found[code]:3} of {planted[code]:3}" for code in sorted(planted)]
    recall, precision = found.total() / planted.total(), right / raised
    rows.append(
        f"{planted.total()} faulty, {len(SOUND)} sound walks: recall {recall:.3f}, precision {precision:.3f}"
    )
    print_table("\n".join(rows))
    assert recall == 1
    assert precision == 1
