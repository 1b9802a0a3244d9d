"""The registry of codes: each code is raised by its bad example, and not by its good one."""

import re
import subprocess
import sys

import pytest
from support.commands import REPOSITORY

from sequencer.base import codes_files
from sequencer.base.codeinfo import CodeInfo
from sequencer.base.codes import CODES, _joined
from sequencer.base.errors import FileErrors
from sequencer.base.findings import Finding, Severity
from sequencer.check import check
from sequencer.plan.build import parse_plan

SHOWN = [info for info in CODES.values() if info.bad]
# Codes that no text of a few lines can raise, or only with a target; each is raised in a test of its own.
NOT_IN_A_FEW_LINES = {"not-finished", "undecided", "no-room", "over-budget"}
OF_FILES = {info.code for info in codes_files.CODES}


def findings_of(text: str) -> list[Finding]:
    """Every finding of a gait, whether it can be loaded or not."""
    try:
        return check(parse_plan(text))
    except FileErrors as error:
        return list(error.findings)


@pytest.mark.parametrize("info", SHOWN, ids=lambda info: info.code)
def test_a_bad_example_raises_its_code(info: CodeInfo) -> None:
    raised = [finding for finding in findings_of(info.bad) if finding.code == info.code]
    assert raised
    assert all(finding.severity == info.severity for finding in raised)
    assert all(finding.message and finding.place.line > 0 for finding in raised)


@pytest.mark.parametrize("info", SHOWN, ids=lambda info: info.code)
def test_a_good_example_raises_no_error_and_no_warning(info: CodeInfo) -> None:
    found = findings_of(info.good)
    assert info.code not in {finding.code for finding in found}
    assert [finding for finding in found if finding.severity != Severity.NOTE] == []


def test_every_code_of_the_checks_has_an_example_unless_it_cannot_be_short() -> None:
    without = {info.code for info in CODES.values() if not info.bad} - OF_FILES
    assert without == NOT_IN_A_FEW_LINES


def test_every_code_that_the_checks_raise_stands_in_the_registry() -> None:
    raised = set()
    for path in (REPOSITORY / "sequencer/check").rglob("*.py"):
        raised |= set(
            re.findall(r'(?:Finding\(|_shadowed\()\s*"([a-z-]+)"', path.read_text(encoding="utf-8"))
        )
    assert len(raised) > 15
    assert raised - set(CODES) == set()


def test_codes_are_slugs_and_their_texts_are_whole_sentences() -> None:
    for code, info in CODES.items():
        assert re.fullmatch(r"[a-z]+(-[a-z]+)*", code)
        assert code == info.code
        assert not info.title.endswith(".")
        assert info.explanation.rstrip(")").endswith(".")


def test_a_code_that_stands_twice_is_refused() -> None:
    with pytest.raises(ValueError, match="twice"):
        _joined([(SHOWN[0],), (SHOWN[0],)])


def test_explaining_needs_neither_solver_nor_models() -> None:
    script = (
        "import sys; from sequencer.base.codes import CODES; assert CODES;"
        "print([m for m in ('z3', 'pydantic', 'yaml', 'numpy', 'pint') if m in sys.modules])"
    )
    result = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert result.stdout.strip() == "[]"
