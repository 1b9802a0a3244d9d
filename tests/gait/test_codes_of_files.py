"""Each code of an unreadable file: its bad example raises it where the slip is, its good one builds."""

from pathlib import Path

import pytest
from support.gaits import errors_in, spot

from sequencer.base import codes_files
from sequencer.base.codeinfo import CodeInfo
from sequencer.base.errors import FileErrors
from sequencer.gait.reading import MOST_BYTES
from sequencer.plan.build import load_plan

CODES = {info.code: info for info in codes_files.CODES}

# code -> the piece of the bad example at whose beginning the error must be told, and its occurrence
PLACES = {
    "yaml-syntax": ("]", 5),
    "alias": ("*zero", 1),
    "duplicate-key": ("count: nods", 2),
    "bad-number": (".inf", 1),
    "unknown-key": ("time_out", 1),
    "missing-key": ("nod_angle", 1),
    "wrong-type": ("yes", 1),
    "bad-unit": ("2 mm", 1),
    "bad-name": ("still standing", 1),
    "reserved-name": ("switch", 1),
    "unknown-name": ("dwon", 1),
    "duplicate-name": ("nod]", 1),
    "out-of-span": ("30 deg", 1),
    "bad-guard": ("{signal: left_tilt, above", 1),
    "bad-level": ("{of: nod_angle", 1),
    "bad-hold": ("3 samples", 1),
    "bad-release": ("10 deg}}", 1),
    "bad-phase": ("stop: 1", 1),
    "bad-mirror": ("left_tilt]", 1),
    "bad-drive": ("drive: {", 1),
    "bad-resolution": ("0.0001 deg", 1),
    "no-follower": ("nod, tolerance", 1),
    "never-lost": ("left_tilt}]", 1),
    "two-owners": ("nod: 5 deg", 1),
}

WITH_EXAMPLE = [info for info in codes_files.CODES if info.bad]
BY_FILE = {"no-file", "not-text", "empty-file", "too-large", "too-deep", "not-a-machine", "other-kind"}


def test_every_code_is_tried_here() -> None:
    assert {info.code for info in WITH_EXAMPLE} == set(PLACES)
    assert set(CODES) == set(PLACES) | BY_FILE


@pytest.mark.parametrize("info", WITH_EXAMPLE, ids=lambda info: info.code)
def test_the_bad_example_raises_the_code_at_the_slip(info: CodeInfo) -> None:
    findings = errors_in(info.bad)
    found = {f"{f.place.line}:{f.place.column}" for f in findings if f.code == info.code}
    what, nth = PLACES[info.code]
    if info.code == "yaml-syntax":  # where the reader noticed: after the bracket that was left open
        assert len(findings) == len(found) == 1
        return
    assert spot(info.bad, what, nth) in found


@pytest.mark.parametrize("info", WITH_EXAMPLE, ids=lambda info: info.code)
def test_nothing_but_the_code_is_raised(info: CodeInfo) -> None:
    also = (
        {"unknown-name"} if info.code == "bad-name" else set()
    )  # the ways to the phase that cannot be named so
    assert {f.code for f in errors_in(info.bad)} - also == {info.code}


@pytest.mark.parametrize("info", WITH_EXAMPLE, ids=lambda info: info.code)
def test_the_good_example_builds(info: CodeInfo) -> None:
    assert errors_in(info.good) == []


@pytest.mark.parametrize("info", WITH_EXAMPLE, ids=lambda info: info.code)
def test_every_error_says_what_was_expected_or_how_to_mend_it(info: CodeInfo) -> None:
    for finding in errors_in(info.bad):
        assert finding.expected or finding.fix or info.code == "yaml-syntax"
        assert "\n" not in finding.message


def test_the_codes_that_text_cannot_show_are_raised_by_files(tmp_path: Path) -> None:
    machine = "machine: a\ntick: 1 ms\n"
    files = {
        "not-text": b"gait: \xff",
        "other-kind": b"\x89PNG\r\n\x1a\n",
        "empty-file": b"",
        "too-large": b"#" * (MOST_BYTES + 1),
        "too-deep": b"[" * 70 + b"]" * 70,
        "not-a-machine": b"gait: a\nmachine: other.gait.yaml\n",
    }
    (tmp_path / "other.gait.yaml").write_text("gait: b\nmachine: a.machine.yaml\n")
    (tmp_path / "a.machine.yaml").write_text(machine)
    seen = set()
    for code, data in files.items():
        path = tmp_path / f"{code}.gait.yaml"
        path.write_bytes(data)
        with pytest.raises(FileErrors) as caught:
            load_plan(path)
        assert [f.code for f in caught.value.findings] == [code]
        seen.add(code)
    with pytest.raises(FileErrors) as caught:
        load_plan(tmp_path / "nothing.gait.yaml")
    assert {f.code for f in caught.value.findings} | seen == BY_FILE
