"""Slips that makers make: the likely mend is said, and when it is done the file is sound."""

from pathlib import Path

import pytest
from support.commands import STORK, call, copy_of_the_stork
from support.gaits import errors_in, gait

from sequencer.base.errors import FileErrors
from sequencer.plan.build import load_plan

ONE_LINE = "  angle: {unit: deg, value: 12.5, span: [8, 20]}\n"
SOUND = gait(
    parameters=ONE_LINE + "  lift: {unit: mm, value: 40, span: [0, 55]}\n  limit: {value: 9, span: [5, 12]}"
)


@pytest.mark.parametrize(
    ("right", "wrong", "fix"),
    [
        ("{unit: deg, value: 12.5", "{unit: deg value: 12.5", "write a comma before value"),
        ("[go, halt]\n", "[go, halt\n", "close the [ of line 9 with ], or write a comma before switches"),
        ("[halt, motors], every", "[halt, motors] every", "write a comma before every"),
        ("{to: still, when: {event: halt}}", "{to: still, when: {event: halt}", "close the"),
        ("value: 12.5", "value: 12,5", "12.5"),
        ("every: 10 ms", "every: 10,5 ms", "10.5 ms"),
        ("span: [8, 20]", "span: [8 20]", "[8, 20]"),
        ("span: [8, 20]", "span: [8,5, 20]", "decimals take a point"),
    ],
)
def test_a_slip_in_brackets_is_told_once_with_its_mend(right: str, wrong: str, fix: str) -> None:
    assert errors_in(SOUND) == []
    assert right in SOUND
    (finding,) = errors_in(SOUND.replace(right, wrong, 1))
    assert finding.fix.startswith(fix)


def test_numbers_in_a_list_without_blanks_stay_two() -> None:
    assert errors_in(SOUND.replace("[8, 20]", "[8,20]")) == []
    (finding,) = errors_in(SOUND.replace("value: 12.5,", 'value: "12",5,'))
    assert finding.code == "unknown-key"  # quotes: no number was meant


KINDS = {
    "nod.svg": (
        b'<?xml version="1.0"?>\n<!-- drawn -->\n<svg xmlns="http://www.w3.org/2000/svg"/>',
        "a drawing",
    ),
    "nod.dot": (b"digraph nod {\n}\n", "a drawing"),
    "nod.pdf": (b"%PDF-1.7\n", "a drawing"),
    "nod.png": (b"\x89PNG\r\n\x1a\n\x00", "a picture"),
    "nod.csv": (b"time,head_tilt\n0,1\n", "a recording"),
    "nod.parquet": (b"PAR1\x15\x04", "a recording"),
    "nod.gz": (b"\x1f\x8b\x08\x00", "a packed file"),
    "nod.cpp": (b"// Generated\nint main() {}\n", "source code"),
}


@pytest.mark.parametrize("name", KINDS)
def test_a_file_of_another_kind_is_called_what_it_is(name: str, tmp_path: Path) -> None:
    data, what = KINDS[name]
    path = tmp_path / name
    path.write_bytes(data)
    with pytest.raises(FileErrors) as told:
        load_plan(path)
    (finding,) = told.value.findings
    assert (finding.code, finding.message.endswith(f"{name} is {what}, not a gait file")) == (
        "other-kind",
        True,
    )
    with pytest.raises(FileErrors) as told:
        load_plan(STORK, path)
    assert f"is {what}, not a machine file" in told.value.findings[0].message


def test_the_gait_beside_a_drawing_is_named(tmp_path: Path) -> None:
    copy_of_the_stork(tmp_path)
    assert call("draw", tmp_path / "stork.gait.yaml", "-o", tmp_path / "stork.svg").returncode == 0
    done = call("check", tmp_path / "stork.svg")
    assert (done.returncode, "stork.gait.yaml?" in done.stdout) == (2, True)


def test_a_recording_in_place_of_the_gait_says_the_order() -> None:
    recording = STORK.parent / "recordings" / "walk.csv"
    assert "sequencer dry-run GAIT walk.csv" in call("dry-run", recording, STORK).stderr


@pytest.mark.parametrize("name", ["walk.csv", "walk.svg", "walk.h"])
def test_a_gait_with_an_odd_ending_is_still_a_gait(name: str, tmp_path: Path) -> None:
    (tmp_path / name).write_text(SOUND)
    assert load_plan(tmp_path / name).name == "trial"


def test_a_folder_that_is_missing_says_how_to_make_it(tmp_path: Path) -> None:
    done = call("draw", STORK, "-o", tmp_path / "no dir" / "x.svg")
    assert done.returncode == 2
    assert f"fix: make the folder first: mkdir -p '{tmp_path}/no dir'" in done.stderr
