"""The verb `rehearse`."""

import json
from pathlib import Path

import pytest
from support.commands import STORK, assert_one_clear_error, call, copy_of_the_stork, run

BODY = STORK.with_name("stork.body.yaml")
SHORT = ("--for", "6s")


def test_it_tells_steps_clearance_speed_and_the_caution(tmp_path: Path) -> None:
    done = call("rehearse", STORK, "--body", BODY, "--for", "12s", "-o", tmp_path / "rehearsal.csv")
    assert done.returncode == 0, done.stderr
    for words in (
        "no fall in these 12.0 s, with this body and this noise",
        "left_foot",
        "right_foot",
        "from step to step",
        "support margin on one foot",
        "real",
        "proves nothing about hardware",
        "First runs on a stand, hands clear",
    ):
        assert words in done.stdout, done.stdout
    assert "will not fall" not in done.stdout + run("rehearse", "--help").stdout
    again = call("dry-run", STORK, tmp_path / "rehearsal.csv", "-q")
    assert again.returncode == 0
    assert again.stderr == ""  # nothing is listed as unread
    assert again.stdout.strip() in done.stdout


def test_the_document_says_the_same(tmp_path: Path) -> None:
    out = tmp_path / "rehearsal.csv"
    done = call("rehearse", STORK, "--body", BODY, "--for", "12s", "--json", "-o", out)
    whole = json.loads(done.stdout)
    assert (whole["document"], whole["version"]) == ("rehearsal", 1)
    assert (whole["fell"], whole["walk_failed"]) == (False, False)
    assert whole["steps"] == sum(len(foot["clearance_mm"]) for foot in whole["feet"]) == 2
    assert whole["written"] == str(out)
    assert "proves nothing" in whole["caution"]
    assert whole["times_real"] > 0


def test_a_fall_is_told_and_is_exit_code_1(tmp_path: Path) -> None:
    body = tmp_path / "narrow.body.yaml"
    body.write_text(BODY.read_text(encoding="utf-8").replace("wide: 110 mm", "wide: 24 mm"), encoding="utf-8")
    done = call("rehearse", STORK, "--body", body, "--for", "20s")
    assert done.returncode == 1
    assert "fell after" in done.stdout and "no fall" not in done.stdout
    document = json.loads(call("rehearse", STORK, "--body", body, "--for", "20s", "--json").stdout)
    assert document["fell"] is True and document["fell_ms"] > 0


def test_a_stop_by_timeout_is_exit_code_1() -> None:
    done = call("rehearse", STORK, "--body", BODY, "--for", "8s", "--fault", "supply:volts=0.01V")
    assert done.returncode == 1
    assert "but the walk did not get through" in done.stdout
    assert "fault at " in done.stdout


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--fault", "left_knee=3mm"), "is no fault that can be planted"),
        (("--fault", "left_knee:limit=3mm"), "is no fault that can be planted"),
        (("--fault", "floor:friction=3mm"), "cannot be turned"),
        (("--fault", "floor:friction=-1"), "friction is -1"),
        (("--fault", "right_hipp:slack=1deg"), "did you mean right_hip?"),
        (("--fault", "right_hip:slack"), "is not understood"),
        (("--for", "2h"), "longer than an hour"),
        (("--for", "soon"), "is not a time"),
        (("--press", "fly=1s"), "there is no event fly"),
        (("--on", "wings"), "there is no switch wings"),
    ],
)
def test_misuse_gets_one_clear_error(options: tuple[str, ...], words: str) -> None:
    assert_one_clear_error(call("rehearse", STORK, "--body", BODY, *options), words)


def test_a_body_that_cannot_be_read_is_told_with_its_place(tmp_path: Path) -> None:
    body = tmp_path / "bad.body.yaml"
    body.write_text(BODY.read_text(encoding="utf-8").replace("mass: 4 kg", "mass: 4 mm"), encoding="utf-8")
    done = call("rehearse", STORK, "--body", body)
    assert_one_clear_error(done, "bad.body.yaml:12:", "cannot be turned into kg", "[bad-unit]")
    assert_one_clear_error(call("rehearse", STORK, "--body", tmp_path / "none.body.yaml"), "No such file")


def test_a_file_that_is_there_is_not_overwritten_unasked(tmp_path: Path) -> None:
    out = tmp_path / "mine.csv"
    out.write_text("mine")
    done = call("rehearse", STORK, "--body", BODY, *SHORT, "-o", out)
    assert_one_clear_error(done, "exists already", "--force")
    assert out.read_text() == "mine"
    assert call("rehearse", STORK, "--body", BODY, *SHORT, "-o", out, "--force", "-q").returncode == 0
    assert out.read_text().startswith("time [ms],")
    assert [path.name for path in tmp_path.iterdir()] == ["mine.csv"]


def test_the_recording_can_go_to_standard_output() -> None:
    done = call("rehearse", STORK, "--body", BODY, "--for", "1s", "-o", "-")
    assert done.stdout.startswith("time [ms],")
    assert len(done.stdout.splitlines()) == 101


def test_without_the_engine_one_error_says_how_to_get_it(tmp_path: Path) -> None:
    (tmp_path / "mujoco.py").write_text("raise ImportError('no module named mujoco')")
    out = tmp_path / "rehearsal.csv"
    path = {"PYTHONPATH": f"{tmp_path}:{Path(__file__).parents[2]}"}
    done = run("rehearse", STORK, "--body", BODY, "-o", out, environment=path)
    assert_one_clear_error(done, "MuJoCo", "pip install 'gait-sequencer[rehearse]'")
    assert not out.exists()


@pytest.mark.parametrize("name", ["stork.gait.yaml", "stork.machine.yaml", "stork.body.yaml"])
@pytest.mark.parametrize("verb", ["rehearse", "make-trace"])
def test_what_it_is_made_from_is_never_overwritten(verb: str, name: str, tmp_path: Path) -> None:
    gait = copy_of_the_stork(tmp_path)
    body = tmp_path / BODY.name
    body.write_bytes(BODY.read_bytes())
    before = (tmp_path / name).read_bytes()
    files = ("--follow", gait) if verb == "make-trace" else (gait, "--body", body)
    if verb == "make-trace" and name == body.name:
        return  # it does not read that one
    done = call(verb, *files, "--for", "1s", "-o", tmp_path / name, "--force")
    assert_one_clear_error(done, "is one of the files to be read", "another name")
    assert (tmp_path / name).read_bytes() == before


def test_what_moves_nothing_is_named(tmp_path: Path) -> None:
    text = BODY.read_text(encoding="utf-8")
    whole = call("rehearse", STORK, "--body", BODY, "--for", "1s")
    assert "moves nothing in the body file" not in whole.stderr
    start = text.index("  <side>_knee_drive:")
    after = text.index("\nsenses:", start)
    body = tmp_path / "loose.body.yaml"
    body.write_text(text[:start] + text[after + 1 :], encoding="utf-8")
    done = call("rehearse", STORK, "--body", body, "--for", "1s")
    for side in ("left", "right"):
        assert f"{side}_knee_motor moves nothing in the body file" in done.stderr
