"""Bad input gets one clear error, exit code 2, and nothing is written."""

import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from support.commands import assert_one_clear_error, call, copy_of_the_stork

ALIAS_BOMB = "a: &a [x, x, x, x, x, x, x, x, x]\n" + "".join(
    f"{b}: &{b} [*{a}, *{a}, *{a}, *{a}, *{a}, *{a}, *{a}, *{a}, *{a}]\n"
    for a, b in zip("abcdefgh", "bcdefghi", strict=True)
)


def _text(content: str | bytes) -> Callable[[Path], Path]:
    def make(folder: Path) -> Path:
        path = folder / "bad.gait.yaml"
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    return make


def _folder(folder: Path) -> Path:
    path = folder / "bad.gait.yaml"
    path.mkdir()
    return path


def _pipe(folder: Path) -> Path:
    path = folder / "bad.gait.yaml"
    os.mkfifo(path)
    return path


BAD_FILES = {
    "malformed YAML": (_text("gait: [a, b\nmachine: x\n"), "bad.gait.yaml:"),
    "alias bomb": (_text(ALIAS_BOMB), "alias"),
    "binary file": (_text(bytes(range(256)) * 40), "bad.gait.yaml"),
    "not UTF-8": (_text("gait: caf\xe9\n".encode("latin-1")), "UTF-8"),
    "empty file": (_text(""), "bad.gait.yaml"),
    "only a list": (_text("- a\n- b\n"), "bad.gait.yaml:1:1"),
    "missing file": (lambda folder: folder / "gone.gait.yaml", "gone.gait.yaml"),
    "folder": (_folder, "bad.gait.yaml"),
    "pipe nobody writes to": (_pipe, "bad.gait.yaml"),
    "device": (lambda _: Path("/dev/zero"), "/dev/zero"),
    "too deep": (_text("a: " + "[" * 5000 + "]" * 5000), "bad.gait.yaml"),
    "too large": (_text("a: b\n" * 3_000_000), "bad.gait.yaml"),
}


@pytest.mark.parametrize("kind", BAD_FILES)
@pytest.mark.parametrize("verb", ["plan", "draw", "generate", "dry-run"])
def test_a_gait_that_cannot_be_read(verb: str, kind: str, tmp_path: Path) -> None:
    make, word = BAD_FILES[kind]
    path = make(tmp_path)
    before = sorted(tmp_path.iterdir())
    options = ["-o", tmp_path / "out"] if verb == "generate" else []
    done = call(verb, path, *options)
    assert done.returncode == 2
    assert done.stdout == ""
    assert word in done.stderr
    assert "error:" in done.stderr
    assert "Traceback" not in done.stderr and "fault in sequencer itself" not in done.stderr
    assert len(done.stderr) < 8000
    assert sorted(tmp_path.iterdir()) == before


@pytest.mark.parametrize("kind", BAD_FILES)
def test_the_check_of_it_is_unreadable_too(kind: str, tmp_path: Path) -> None:
    make, word = BAD_FILES[kind]
    done = call("check", make(tmp_path))
    assert done.returncode == 2
    assert word in done.stdout
    assert "Traceback" not in done.stderr + done.stdout


def test_a_machine_file_that_is_missing_is_told_at_the_line_that_names_it(tmp_path: Path) -> None:
    gait = copy_of_the_stork(tmp_path)
    (tmp_path / "stork.machine.yaml").unlink()
    line = 1 + gait.read_text().splitlines().index("machine: stork.machine.yaml")
    assert_one_clear_error(call("plan", gait), f"{gait}:{line}:", "stork.machine.yaml")


def test_a_gait_in_place_of_a_machine_is_told(tmp_path: Path) -> None:
    gait = copy_of_the_stork(tmp_path)
    assert_one_clear_error(call("plan", gait, "--machine", gait), "not a machine file")


BAD_TRACES = {
    "no time column": ("left_knee\n1\n", "time"),
    "time going backwards": ("time,left_knee\n1,0\n0.5,0\n", "bad.csv:3:"),
    "a word for a number": ("time,left_knee\n0,much\n", "bad.csv:2:3"),
    "a column twice": ("time,left_knee,left_knee\n0,1,1\n", "twice"),
    "the wrong unit": ("time,body_roll [mm]\n0,1\n", "body_roll"),
    "empty": ("", "empty"),
    "cut off": ("time,left_knee,right_knee\n0,1,1\n0.01,1\n", "bad.csv:3"),
    "not UTF-8": (b"time,left_knee\n0,1\n0.01,\xff\n", "UTF-8"),
    "gzip": (b"\x1f\x8b\x08\x00aaaa", "gzip"),
}


@pytest.mark.parametrize("kind", BAD_TRACES)
def test_a_recording_that_cannot_be_used(kind: str, tmp_path: Path) -> None:
    content, word = BAD_TRACES[kind]
    gait, trace = copy_of_the_stork(tmp_path), tmp_path / "bad.csv"
    trace.write_bytes(content if isinstance(content, bytes) else content.encode())
    before = sorted(tmp_path.iterdir())
    done = call("dry-run", gait, trace, "--out", tmp_path / "run.csv", "-q")
    assert_one_clear_error(done, word)
    assert sorted(tmp_path.iterdir()) == before


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["gone.csv"], ["gone.csv"]),
        (["--map", "a=b"], ["--map belongs to a recording"]),
        (["stork.gait.yaml", "--map", "a"], ["'a' is not understood", "OURS=THEIRS"]),
        (["stork.gait.yaml", "--seed", "3"], ["--seed belongs"]),
        (["stork.gait.yaml", "--map", "a=b", "--map", "a=c"], ["'a' is given twice"]),
        (["--for", "soon"], ["'soon' is not a time"]),
        (["--for", "10 mm"], ["'10 mm' is not a time"]),
        (["--for", "-3s"], ["out of range"]),
        (["--fault", "left_knee=3"], ["does not say which fault", "left_knee:limit=3"]),
        (["--fault", "left_knee:limt=3mm"], ["'limt' is no fault that can be planted"]),
        (["--fault", "left_knee:limit=3 deg"], ["limit of left_knee"]),
        (["--fault", "left_kne:limit=3 mm"], ["left_kne", "did you mean left_knee?"]),
        (["--press", "goo=1s"], ["no event goo"]),
        (["--off", "motor"], ["no switch motor"]),
        (["--on", "motor"], ["no switch motor"]),
    ],
)
def test_options_that_make_no_sense(
    arguments: list[str], words: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    copy_of_the_stork(tmp_path)
    monkeypatch.chdir(tmp_path)
    assert_one_clear_error(call("dry-run", "stork.gait.yaml", *arguments), *words)


@pytest.mark.parametrize(
    "arguments",
    [
        ["draw", "stork.gait.yaml", "-o", "gone/stork.svg"],
        ["draw", "stork.gait.yaml", "-o", "stork.gait.yaml/stork.svg"],
        ["draw", "stork.gait.yaml", "-o", "folder"],
        ["generate", "stork.gait.yaml", "-o", "stork.machine.yaml"],
        ["generate", "stork.gait.yaml", "-o", "out", "--templates", "gone"],
        ["generate", "stork.gait.yaml", "-o", "out", "--target", "toaster"],
        ["dry-run", "stork.gait.yaml", "--for", "1s", "-q", "--out", "gone/run.csv"],
        ["make-trace", "--follow", "stork.gait.yaml", "--for", "1s", "-o", "gone/trace.csv"],
        ["make-trace", "gone.yaml", "stork.gait.yaml", "-o", "trace.csv"],
        ["make-trace", "stork.machine.yaml", "stork.gait.yaml", "-o", "trace.csv"],
        ["new", "crab", "--in", "gone"],
    ],
    ids=" ".join,
)
def test_an_output_that_cannot_be_written_leaves_everything_as_it_was(
    arguments: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    copy_of_the_stork(tmp_path)
    (tmp_path / "folder").mkdir()
    monkeypatch.chdir(tmp_path)
    before = {path: path.stat().st_mtime_ns for path in tmp_path.rglob("*")}
    assert_one_clear_error(call(*arguments))
    assert {path: path.stat().st_mtime_ns for path in tmp_path.rglob("*")} == before


@pytest.mark.parametrize(
    "arguments",
    [
        ["draw", "stork.gait.yaml", "--format", "svg", "-o", "mine.txt"],
        ["draw", "stork.gait.yaml", "--format", "svg", "-o", "stork.machine.yaml"],
        ["dry-run", "stork.gait.yaml", "--for", "1s", "-q", "--out", "mine.txt"],
        ["make-trace", "--follow", "stork.gait.yaml", "--for", "1s", "-o", "mine.txt"],
    ],
    ids=" ".join,
)
def test_a_file_of_another_kind_is_not_overwritten_without_being_asked(
    arguments: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    copy_of_the_stork(tmp_path)
    shutil.copyfile(tmp_path / "stork.machine.yaml", tmp_path / "mine.txt")
    monkeypatch.chdir(tmp_path)
    before = (tmp_path / "mine.txt").read_bytes()
    assert_one_clear_error(call(*arguments), "exists already")
    assert (tmp_path / "mine.txt").read_bytes() == before
    assert (tmp_path / "stork.machine.yaml").read_bytes() == before
    if "mine.txt" in arguments:
        assert call(*arguments, "--force").returncode == 0
        assert (tmp_path / "mine.txt").read_bytes() != before


def test_generated_files_do_not_replace_what_was_not_generated(tmp_path: Path) -> None:
    gait, out = copy_of_the_stork(tmp_path), tmp_path / "out"
    out.mkdir()
    (out / "stork_stepping.h").write_text("// mine\n")
    assert_one_clear_error(call("generate", gait, "-o", out), "was not generated")
    assert [path.name for path in out.iterdir()] == ["stork_stepping.h"]
    assert call("generate", gait, "-o", out, "--force").returncode == 0


def test_names_that_control_the_terminal_are_made_harmless(tmp_path: Path) -> None:
    name = tmp_path / "x\x1b[2J\u202e.yaml"
    assert "\x1b" not in call("plan", name).stderr
    gait = tmp_path / "a.gait.yaml"
    gait.write_text('gait: "a\\e]0;pwned\\a"\nmachine: "\\u202Ex"\n', encoding="utf-8")
    done = call("check", gait)
    assert done.returncode == 2
    assert not {"\x1b", "\x07", "\u202e"} & set(done.stdout + done.stderr)


_SLIPS = {
    "a sign for a word": (
        "{signal: body_roll, outside: [-25 deg, 25 deg]}",
        "{signal: body_roll, '>': 25 deg}",
        "write above",
    ),
    "a bare word for a guard": (
        "when: {all: [{event: go}, {switch: motors}]}",
        "when: go",
        "such as {event: go}",
    ),
    "no space after a colon": ("set: {lean: lean_angle", "set: {lean:lean_angle", "lean: lean_angle"),
    "a time without a unit": ("after: 5 s", "after: 5", "5 ms or 5 s"),
}


@pytest.mark.parametrize("slip", _SLIPS)
def test_a_slip_of_the_pen_is_told_with_how_to_write_it(slip: str, tmp_path: Path) -> None:
    right, wrong, fix = _SLIPS[slip]
    gait = copy_of_the_stork(tmp_path)
    text = gait.read_text()
    assert right in text
    gait.write_text(text.replace(right, wrong))
    done = call("plan", gait)
    assert done.returncode == 2
    assert f"{gait}:" in done.stderr
    assert fix in done.stderr


def test_a_picture_is_not_drawn_in_a_format_that_is_not_known(tmp_path: Path) -> None:
    picture = tmp_path / "stork.jpg"
    done = call("draw", copy_of_the_stork(tmp_path), "-o", picture)
    assert_one_clear_error(done, "cannot be written as jpg", "svg, png, pdf, dot")
    assert not picture.exists()
    assert call("draw", tmp_path / "stork.gait.yaml", "-o", picture, "--format", "svg").returncode == 0


def test_events_in_one_text_are_told_to_be_a_list(tmp_path: Path) -> None:
    gait = copy_of_the_stork(tmp_path)
    machine = tmp_path / "stork.machine.yaml"
    text = machine.read_text()
    assert "events: [go, halt]" in text
    machine.write_text(text.replace("events: [go, halt]", "events: go halt"))
    assert "several names are a list: [go, halt]" in call("plan", gait).stderr
