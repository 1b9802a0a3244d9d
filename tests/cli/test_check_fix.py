"""`check --fix-preview`, `--fix`, `--sarif` and `--accepted`, on files as a maker has them."""

import json
import subprocess
from pathlib import Path

import pytest
from support.commands import REPOSITORY, assert_one_clear_error, call, run

FAULTY = REPOSITORY / "tests" / "corpus" / "faulty"
SHORT = (FAULTY / "short-timeout-1.gait.yaml").read_text(encoding="utf-8")
ACCEPTED = (REPOSITORY / "tests" / "corpus" / "sound" / "crab-accepted.gait.yaml").read_text(encoding="utf-8")


@pytest.fixture
def crab(tmp_path: Path) -> Path:
    path = tmp_path / "crab.gait.yaml"
    path.write_text(SHORT, encoding="utf-8")
    return path


def test_the_preview_is_a_patch_and_writes_nothing(crab: Path) -> None:
    done = run("check", crab.name, "--fix-preview", cwd=crab.parent)
    assert done.returncode == 0
    assert done.stderr == "settles short-timeout (crab.gait.yaml:22:14)\n"
    assert crab.read_text(encoding="utf-8") == SHORT
    subprocess.run(
        ["patch", "-p0"], cwd=crab.parent, input=done.stdout, text=True, check=True, capture_output=True
    )
    assert crab.read_text(encoding="utf-8") == SHORT.replace("700 ms", "2 s")
    assert run("check", crab, "--strict").returncode == 0


def test_the_exit_code_of_a_preview_is_that_of_the_check(crab: Path) -> None:
    assert run("check", crab, "--fix-preview", "--strict").returncode == 1
    done = run("check", "-", "--fix-preview", text_in=SHORT)
    assert done.stdout.startswith("--- <stdin>\n+++ <stdin>\n")
    sound = run("check", "-", "--fix-preview", text_in=ACCEPTED)
    assert (sound.returncode, sound.stdout) == (0, "")
    assert sound.stderr == "nothing here can be settled by an edit\n"
    quiet = run("check", crab, "--fix-preview", "--quiet")
    assert quiet.stderr == ""


def test_fix_says_what_it_writes_then_writes_it_and_tells_what_is_left(crab: Path) -> None:
    crab.write_text(SHORT.replace("phases:\n", "counters: [steps]\nphases:\n", 1), encoding="utf-8")
    done = run("check", crab.name, "--fix", cwd=crab.parent)
    assert done.returncode == 0
    assert done.stderr == "wrote crab.gait.yaml; it settles short-timeout (crab.gait.yaml:23:14)\n"
    assert "unused-counter" in done.stdout and "short-timeout" not in done.stdout
    mended = crab.read_text(encoding="utf-8")
    assert "after: 2 s" in mended
    again = run("check", crab, "--fix", "--strict")
    assert (again.returncode, again.stderr) == (1, "nothing here can be settled by an edit\n")
    assert crab.read_text(encoding="utf-8") == mended
    assert sorted(path.name for path in crab.parent.iterdir()) == ["crab.gait.yaml"]


def test_fix_goes_on_to_a_document_of_what_is_left(crab: Path) -> None:
    whole = json.loads(run("check", crab, "--fix", "--json", "-q").stdout)
    assert whole["counts"]["warning"] == 0


def test_a_file_that_cannot_be_written_is_told_and_left(crab: Path) -> None:
    done = run("check", "-", "--fix", text_in=SHORT)
    assert_one_clear_error(done, "standard input can't be written back", "give the file")


def test_what_could_not_be_written_is_not_said_to_have_been(crab: Path) -> None:
    # a name so long that nothing can be written beside it
    long = crab.rename(crab.with_name("c" * 240 + ".gait.yaml"))
    before = long.read_bytes()
    done = call("check", long, "--fix")
    assert_one_clear_error(done, "the name is too long")
    assert "wrote" not in done.stderr and "settles" not in done.stderr
    assert long.read_bytes() == before


def test_a_broken_file_is_told_and_not_touched(crab: Path) -> None:
    broken = SHORT.replace("after: 700 ms", "afetr: 700 ms")
    crab.write_text(broken, encoding="utf-8")
    for option in ("--fix", "--fix-preview"):
        done = run("check", crab, option)
        assert done.returncode == 2
        assert "did you mean after?" in done.stdout
        assert "Traceback" not in done.stderr
    assert crab.read_text(encoding="utf-8") == broken


def test_options_that_make_no_sense_together(crab: Path) -> None:
    assert_one_clear_error(run("check", crab, "--fix", "--fix-preview"), "one of the two")
    for document in ("--json", "--sarif"):
        done = run("check", crab, "--fix-preview", document)
        assert done.returncode == 2
        assert "standard output" in done.stdout + done.stderr
    assert run("check", crab, "--json", "--sarif").returncode == 2
    assert crab.read_text(encoding="utf-8") == SHORT


def test_sarif_goes_to_standard_output_or_into_a_file(crab: Path) -> None:
    done = run("check", crab.name, "--sarif", cwd=crab.parent)
    log = json.loads(done.stdout)
    assert (done.returncode, log["version"]) == (0, "2.1.0")
    both = run("check", crab.name, "--sarif", "crab.sarif", cwd=crab.parent)
    assert "short-timeout" in both.stdout
    assert json.loads((crab.parent / "crab.sarif").read_text(encoding="utf-8")) == log
    assert (
        run("check", crab, "--sarif", crab.parent / "crab.sarif").returncode == 0
    )  # its own may be replaced


def test_a_sarif_log_never_replaces_another_file(crab: Path) -> None:
    other = crab.with_name("other.gait.yaml")
    other.write_text(ACCEPTED, encoding="utf-8")
    done = run("check", "--sarif", crab, other)
    assert_one_clear_error(done, "looks like something else")
    assert crab.read_text(encoding="utf-8") == SHORT
    assert_one_clear_error(run("check", "--sarif", crab), "GAIT")


def test_a_broken_file_makes_a_log_that_says_so(crab: Path) -> None:
    crab.write_text(SHORT.replace("after: 700 ms", "afetr: 700 ms"), encoding="utf-8")
    done = run("check", crab, "--sarif")
    log = json.loads(done.stdout)
    assert done.returncode == 2
    assert log["runs"][0]["invocations"] == [{"executionSuccessful": False}]
    assert log["runs"][0]["results"][0]["ruleId"] == "unknown-key"


def test_accepted_findings_are_counted_and_shown_on_request_with_their_reason(crab: Path) -> None:
    crab.write_text(ACCEPTED, encoding="utf-8")
    done = run("check", crab, "--strict")
    assert done.returncode == 0
    assert done.stdout.splitlines()[-1].endswith("; 1 more is accepted")
    assert "hold-on-silence" not in done.stdout
    shown = run("check", crab, "--accepted").stdout
    assert f"accepted in {crab}:21:85: the knee has two sensors on two wires" in shown
    (accepted,) = json.loads(run("check", crab, "--json").stdout)["accepted"]
    assert (accepted["code"], accepted["because"]) == (
        "hold-on-silence",
        "the knee has two sensors on two wires",
    )
    assert accepted["accepted_at"]["line"] == 21


def test_a_reason_from_a_strangers_file_does_no_harm_on_a_terminal(crab: Path) -> None:
    odd = ACCEPTED.replace("the knee has two sensors on two wires", r'"two \u202e sensors \x1b[31m"')
    assert odd != ACCEPTED
    crab.write_text(odd, encoding="utf-8")
    for option in ("--accepted", "--json", "--sarif"):
        text = run("check", crab, option).stdout
        assert "sensors" in text
        assert "\u202e" not in text and "\x1b" not in text


def test_an_accepted_finding_is_not_edited(crab: Path) -> None:
    crab.write_text(ACCEPTED, encoding="utf-8")
    assert run("check", crab, "--fix").returncode == 0
    assert crab.read_text(encoding="utf-8") == ACCEPTED


def test_why_it_matters_is_told_once_for_each_code(crab: Path) -> None:
    twice = SHORT.replace("after: 4 s", "after: 300 ms")
    crab.write_text(twice, encoding="utf-8")
    text = run("check", crab).stdout
    assert text.count("[short-timeout]") == 2
    assert text.count("    why: ") == 1
    assert text.index("    why: ") < text.rindex("[short-timeout]")


def test_several_walks_are_checked_at_once_and_a_broken_one_hides_no_other(crab: Path) -> None:
    good, broken = crab.with_name("good.gait.yaml"), crab.with_name("broken.gait.yaml")
    good.write_text(ACCEPTED, encoding="utf-8")
    broken.write_text("gait: [", encoding="utf-8")
    done = run("check", good, crab)
    assert done.returncode == 0
    assert done.stdout.splitlines()[-1].startswith("1 warning, ")
    assert done.stdout.splitlines()[-1].endswith("; 1 more is accepted")
    done = run("check", good, broken, crab)
    assert done.returncode == 2
    assert "short-timeout" in done.stdout and "yaml-syntax" in done.stdout
    fixed = run("check", good, crab, "--fix")
    assert fixed.returncode == 0
    assert "after: 2 s" in crab.read_text(encoding="utf-8")
