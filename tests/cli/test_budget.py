"""What `generate` measures, tells and refuses."""

import json
from pathlib import Path

import pytest
from support.commands import call
from support.gaits import gait
from support.wired import wired

BUDGET = "  budget: {controller: atmega328p, flash: 20 kB, ram: 1 KiB, worst_tick: 50 %}\n"


def written(folder: Path, text: str) -> Path:
    path = folder / "trial.gait.yaml"
    path.write_text(text)
    return path


def with_budget(budget: str = BUDGET, text: str = "") -> str:
    return (text or gait()).replace("  outputs:", f"{budget}  outputs:", 1)


def test_nothing_is_measured_unless_somebody_asked(tmp_path: Path) -> None:
    done = call("generate", written(tmp_path, gait()), "-o", tmp_path / "out")
    assert done.returncode == 0
    assert "flash" not in done.stdout
    done = call("generate", written(tmp_path, wired()), "-o", tmp_path / "out")
    assert "flash" not in done.stdout  # wired up, but the code is for any controller


def test_a_controller_can_be_asked_for(tmp_path: Path) -> None:
    done = call("generate", written(tmp_path, gait()), "-o", tmp_path / "out", "--controller", "uno")
    assert done.returncode == 0
    assert "on the Uno (ATmega328P), the sequencer alone:" in done.stdout
    for word in ("flash ", "of 32256 bytes", "RAM ", "of them stack of a tick", "worst tick ", "of 10 ms"):
        assert word in done.stdout
    assert (tmp_path / "out" / "trial.cpp").exists()


def test_what_keeps_the_budget_is_written(tmp_path: Path) -> None:
    done = call("generate", written(tmp_path, with_budget()), "-o", tmp_path / "out")
    assert done.returncode == 0
    assert "on the ATmega328P, 8 bits, the sequencer alone:" in done.stdout
    assert "error" not in done.stdout


def test_what_breaks_the_budget_is_an_error_at_its_place_and_not_written(tmp_path: Path) -> None:
    path = written(tmp_path, with_budget(BUDGET.replace("20 kB", "1 kB")))
    done = call("generate", path, "-o", tmp_path / "out")
    assert done.returncode == 1
    line = 1 + path.read_text().splitlines().index(BUDGET.replace("20 kB", "1 kB").rstrip())
    assert f"{path}:{line}:43: error: flash takes" in done.stdout
    assert "at most 1000 bytes" in done.stdout
    assert "nothing was written" in done.stderr
    assert not (tmp_path / "out").exists()


def test_with_force_it_is_written_with_a_warning(tmp_path: Path) -> None:
    path = written(tmp_path, with_budget(BUDGET.replace("20 kB", "1 kB")))
    done = call("generate", path, "-o", tmp_path / "out", "--force")
    assert done.returncode == 0
    assert "warning: flash takes" in done.stdout
    assert (tmp_path / "out" / "trial.cpp").exists()


def test_without_measuring_the_budget_is_not_looked_at(tmp_path: Path) -> None:
    path = written(tmp_path, with_budget(BUDGET.replace("20 kB", "1 kB")))
    done = call("generate", path, "-o", tmp_path / "out", "--no-measure")
    assert (done.returncode, "flash" in done.stdout) == (0, False)


def test_another_controller_s_budget_is_not_looked_at_and_that_is_said(tmp_path: Path) -> None:
    path = written(tmp_path, with_budget(BUDGET.replace("20 kB", "1 kB")))
    done = call("generate", path, "-o", tmp_path / "out", "--controller", "cortex-m3")
    assert done.returncode == 0
    assert "the budget is for atmega328p: not looked at" in done.stdout


def test_figures_and_findings_are_in_the_document(tmp_path: Path) -> None:
    path = written(tmp_path, with_budget(BUDGET.replace("50 %", "1 us")))
    whole = json.loads(call("generate", path, "-o", tmp_path / "out", "--json").stdout)
    assert (whole["document"], whole["written"]) == ("files", [])
    assert [finding["code"] for finding in whole["findings"]] == ["over-budget"]
    assert whole["measured"]["flash"] > 0
    assert whole["measured"]["cost"]["worst"] > 0


def test_without_the_tools_the_package_is_named_and_the_files_are_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    done = call("generate", written(tmp_path, with_budget()), "-o", tmp_path / "out")
    assert done.returncode == 0
    assert "not measured: install gcc-avr avr-libc binutils-avr" in done.stdout
    assert "the budget was not looked at in full" in done.stdout
    assert (tmp_path / "out" / "trial.cpp").exists()


def test_a_board_s_whole_program_is_measured(tmp_path: Path) -> None:
    done = call("generate", written(tmp_path, wired()), "-o", tmp_path / "walk", "--target", "board")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "on the Mega 2560 (ATmega2560), the whole program:" in done.stdout
    assert "of 253952 bytes" in done.stdout
    assert (tmp_path / "walk" / "walk.ino").exists()  # a sketch is called as its folder


def test_the_user_s_own_hooks_are_measured_too(tmp_path: Path) -> None:
    path, out = written(tmp_path, wired()), tmp_path / "walk"
    assert call("generate", path, "-o", out, "--target", "board", "--no-measure").returncode == 0
    (out / "mine.cpp").write_text("int broken( { }\n")
    done = call("generate", path, "-o", out, "--target", "board")
    assert done.returncode == 0
    assert "the program does not compile" in done.stdout
    assert "mine.cpp:1" in done.stdout


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        (["--controller", "atmega256"], "atmega2560"),
        (["--controller", "uno", "--no-measure"], "--no-measure"),
        (["--controller", "uno", "--target", "board"], "mega2560"),
    ],
)
def test_what_makes_no_sense_is_refused(tmp_path: Path, arguments: list[str], word: str) -> None:
    done = call("generate", written(tmp_path, wired()), "-o", tmp_path / "out", *arguments)
    assert (done.returncode, done.stdout) == (2, "")
    assert word in done.stderr
    assert not (tmp_path / "out").exists()
