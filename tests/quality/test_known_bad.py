"""One file that is bad on purpose: each checker, each compiler and each sanitizer must say so.

A checker that is not run, or that was called so that it looks at nothing, would otherwise pass every test.
"""

from pathlib import Path

import pytest
from support.builds import write_files
from support.checkers import clang_tidy, cppcheck
from support.strict import SANITIZED, STRICT

from sequencer.base.errors import ToolError
from sequencer.build.compilers import compile_object
from sequencer.build.programs import run_program

BAD = Path(__file__).parent / "bad.cpp"

WARNINGS = {
    "g++": [
        "double-promotion",
        "float-equal",
        "conversion",
        "implicit-fallthrough",
        "unused-variable",
        "missing-declarations",
        "switch-default",
    ],
    "clang++": [
        "double-promotion",
        "float-equal",
        "conversion",
        "implicit-fallthrough",
        "unused-variable",
        "missing-prototypes",
    ],
    "avr-g++": ["float-equal", "conversion", "unused-variable", "missing-declarations", "switch-default"],
    "arm-none-eabi-g++ M3": ["double-promotion", "float-equal", "conversion", "implicit-fallthrough"],
}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    write_files([("bad.cpp", BAD.read_text(encoding="ascii"))], tmp_path)
    return tmp_path


def names(findings: list[str]) -> set[str]:
    return {finding.partition(" ")[2] for finding in findings}


@pytest.mark.parametrize("compiler", WARNINGS)
def test_the_compilers_warn(compiler: str, folder: Path) -> None:
    with pytest.raises(ToolError) as caught:
        compile_object(STRICT[compiler], folder, "bad.cpp", "bad.o")
    assert [name for name in WARNINGS[compiler] if name not in caught.value.output] == []


def test_cppcheck_complains_and_knows_that_int_has_16_bits(folder: Path) -> None:
    found = names(cppcheck(folder, ["bad.cpp"]))
    assert {
        "arrayIndexOutOfBounds",
        "nullPointer",
        "uninitvar",
        "unusedVariable",
        "shiftTooManyBits",
    } <= found


def test_clang_tidy_complains_in_each_of_its_families(folder: Path) -> None:
    found = names(clang_tidy(folder, ["bad.cpp"]))
    assert {
        "bugprone-integer-division",
        "bugprone-narrowing-conversions",
        "cert-flp30-c",
        "clang-analyzer-core.NullDereference",
        "clang-analyzer-core.uninitialized.UndefReturn",
        "misc-no-recursion",
        "misc-redundant-expression",
        "hicpp-avoid-goto",
        "hicpp-no-malloc",
    } <= found


def test_a_bad_header_is_looked_at_too(folder: Path) -> None:
    (folder / "bad.cpp").rename(folder / "bad.h")
    write_files([("good.cpp", '#include "bad.h"\n')], folder)
    assert any(finding.startswith("bad.h:") for finding in clang_tidy(folder, ["good.cpp"]))
    assert any(finding.startswith("bad.h:") for finding in cppcheck(folder, ["good.cpp"]))


AT_RUN = {
    "0": "",
    "1": "signed integer overflow",
    "2": "out of bounds",
    "3": "division by zero",
    "4": "heap-use-after-free",
}


@pytest.mark.parametrize("what", AT_RUN)
@pytest.mark.parametrize("compiler", ["g++", "clang++"])
def test_the_sanitizers_stop_it(compiler: str, what: str, folder: Path) -> None:
    run_program([compiler, *SANITIZED, "-w", "-DWITH_MAIN", "-o", "run", "bad.cpp"], folder=folder)
    if not AT_RUN[what]:
        run_program([folder / "run", what], folder=folder)
        return
    with pytest.raises(ToolError) as caught:
        run_program([folder / "run", what], folder=folder)
    assert AT_RUN[what] in caught.value.output
