import json
import subprocess
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from support.commands import COMMAND, STORK, assert_one_clear_error, call, copy_of_the_stork


def test_a_drawing_lies_beside_the_gait_unless_told_otherwise(tmp_path: Path) -> None:
    gait = copy_of_the_stork(tmp_path)
    done = call("draw", gait)
    assert (done.returncode, done.stdout) == (0, "")
    assert done.stderr == f"drawn: {tmp_path / 'stork.svg'}\n"
    assert ET.parse(tmp_path / "stork.svg").getroot().tag == "{http://www.w3.org/2000/svg}svg"
    assert call("draw", gait, "--quiet").stderr == ""


# the first bytes of each format, from the PNG (W3C, 2003) and PDF (ISO 32000-1) standards
@pytest.mark.parametrize(
    ("name", "magic"),
    [("a.png", b"\x89PNG\r\n\x1a\n"), ("a.pdf", b"%PDF-1."), ("a.dot", b""), ("a.SVG", b"<")],
)
def test_the_output_name_says_the_format(tmp_path: Path, name: str, magic: bytes) -> None:
    assert call("draw", STORK, "-o", tmp_path / name).returncode == 0
    assert (tmp_path / name).read_bytes().startswith(magic)
    assert (name != "a.dot") or "digraph" in (tmp_path / name).read_text()


def test_a_format_can_be_asked_for_and_written_to_a_pipe() -> None:
    done = subprocess.run(
        [*COMMAND, "draw", str(STORK), "-o", "-", "--format", "pdf"], capture_output=True, check=True
    )
    assert done.stdout.startswith(b"%PDF-")
    assert done.stderr == b""


def test_without_a_layout_program_an_svg_is_drawn_all_the_same_and_a_pdf_says_how(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    assert call("draw", STORK, "-o", tmp_path / "a.svg").returncode == 0
    done = call("draw", STORK, "-o", tmp_path / "a.pdf")
    assert done.returncode == 2
    assert "apt-get install graphviz" in done.stderr
    assert not (tmp_path / "a.pdf").exists()


def test_generating_writes_the_files_and_keeps_the_hooks(tmp_path: Path) -> None:
    out = tmp_path / "out"
    done = call("generate", STORK, "-o", out)
    assert done.returncode == 0
    names = [f"stork_stepping{rest}" for rest in (".cpp", ".h", "_hooks.h", "_loops.cpp", "_loops.h")]
    assert sorted(done.stdout.splitlines()) == [f"written: {out / name}" for name in names]
    assert "not an emergency stop" in done.stderr
    hooks = out / names[2]
    hooks.write_text(hooks.read_text() + "// mine\n")
    first = (out / names[0]).read_bytes()
    again = call("generate", STORK, "-o", out, "--quiet")
    assert (again.returncode, again.stdout, again.stderr) == (0, "", "")
    assert (out / names[0]).read_bytes() == first
    assert hooks.read_text().endswith("// mine\n")
    whole = json.loads(call("generate", STORK, "-o", out, "--json").stdout)
    assert whole["kept"] == [str(hooks)]


def test_templates_of_ones_own_are_used(tmp_path: Path) -> None:
    templates = tmp_path / "mine"
    templates.mkdir()
    (templates / "gait.txt.j2").write_text("{{ g.gait }} every {{ g.tick_ms }} ms\n")
    assert call("generate", STORK, "-o", tmp_path / "out", "--templates", templates).returncode == 0
    assert (tmp_path / "out" / "stork_stepping.txt").read_text() == "stork_stepping every 10 ms\n"


def test_a_schema_completes_in_an_editor() -> None:
    for kind in ("machine", "gait"):
        whole = json.loads(call("schema", kind).stdout)
        assert kind in whole["properties"]


def test_a_plan_is_told_in_sentences_and_as_json() -> None:
    text = call("plan", STORK).stdout
    assert "lean_left (mirror image of lean_right)" in text
    assert "fault after 3 s: to safe" in text
    whole = json.loads(call("plan", STORK, "--json").stdout)
    assert whole["plan"]["sha"] in text
    assert whole["plan"]["sequences"][0]["phases"][0]["name"] == "standing"


def test_a_drawing_of_somebody_elses_is_left_alone(tmp_path: Path) -> None:
    own = tmp_path / "own.svg"
    own.write_text('<svg xmlns="http://www.w3.org/2000/svg"><title>mine</title></svg>')
    assert_one_clear_error(call("draw", STORK, "-o", own), "own.svg", "exists already")
    assert "mine" in own.read_text()
    ours = tmp_path / "ours.svg"
    assert call("draw", STORK, "-o", ours).returncode == 0
    assert call("draw", STORK, "-o", ours).returncode == 0
