"""The painted picture: safe, the same with either engine, readable, and whole or not there at all."""

import os
import stat
import subprocess
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from support.diagrams import (
    SVG,
    empty_path,
    names_in,
    read_graph,
    read_svg,
    stork,
    texts_in,
    tortoise,
    unsafe_in,
)

from sequencer.base.errors import MisuseError, ToolError
from sequencer.base.places import Place
from sequencer.plan.tables import Plan
from sequencer.show.diagram import DiagramOptions, diagram_bytes, diagram_source, draw
from sequencer.show.diagram.graph import graph_of, source_of
from sequencer.show.diagram.layout import lay_out
from sequencer.show.diagram.page import page_of
from sequencer.show.diagram.text import run_width
from sequencer.show.diagram.xdot import xdot_source

SYSTEM, WASM = DiagramOptions(engine="system"), DiagramOptions(engine="wasm")
PLANS = {"stork": stork, "tortoise": tortoise}

MEAN = 'a</text><script>alert(1)</script><a href="http://x.org">&amp;&lt; "q" \\N\\G\\" ]]> \\'
HIDDEN = "\u202egnp.exe\u2066 \x1b[31m\x07\u200b\ufffe\u2028"


def mean_stork() -> Plan:
    """The stork with texts that try to leave their place; a loader would refuse the names."""
    plan = stork()
    place = Place('/somewhere/else/"><script>.yaml', 3, 1)
    first = plan.sequences[0]
    phases = [replace(p, name=f"{p.name}{MEAN}", about=MEAN + HIDDEN, place=place) for p in first.phases]
    return replace(
        plan,
        name=f"<{MEAN}>",
        about=MEAN + HIDDEN,
        machine=MEAN,
        setpoints=tuple(replace(s, name=s.name + MEAN, unit="<&>") for s in plan.setpoints),
        signals=tuple(replace(s, name=s.name + MEAN) for s in plan.signals),
        rules=tuple(replace(r, name=MEAN + HIDDEN, place=place) for r in plan.rules),
        sequences=(replace(first, name=MEAN, phases=tuple(phases)),),
    )


@pytest.mark.parametrize("options", [SYSTEM, WASM], ids=["system", "wasm"])
@pytest.mark.parametrize("name", PLANS)
def test_a_picture_is_plain_drawing_and_nothing_else(name: str, options: DiagramOptions) -> None:
    root = read_svg(diagram_bytes(PLANS[name](), "svg", options))
    assert root.tag == f"{SVG}svg"
    assert unsafe_in(root) == []
    names = names_in(root)
    assert len(names) == len(set(names))


@pytest.mark.parametrize(
    ("planted", "found"),
    [
        ("<script>1</script>", ["<script>"]),
        ('<a href="x"/>', ["<a>", "a href"]),
        ('<rect onload="x"/>', ["rect onload"]),
        ('<rect fill="url(#x)"/>', ["rect url(#x)"]),
        ("<image/>", ["<image>"]),
        ('<text style="x"/>', ["text style"]),
    ],
)
def test_planted_script_links_and_styles_are_found(planted: str, found: list[str]) -> None:
    svg = diagram_bytes(stork(), "svg").decode().replace("</svg>", f"{planted}</svg>")
    assert unsafe_in(read_svg(svg.encode())) == found


@pytest.mark.parametrize("options", [SYSTEM, WASM], ids=["system", "wasm"])
def test_texts_of_a_stranger_stay_texts(options: DiagramOptions) -> None:
    svg = diagram_bytes(mean_stork(), "svg", options)
    root = read_svg(svg)
    assert unsafe_in(root) == []
    assert names_in(root) == names_in(read_svg(diagram_bytes(stork(), "svg", options)))
    assert MEAN.split(maxsplit=1)[0] in " ".join(texts_in(root).split())  # shown as it stands, not run
    assert not any(char in svg.decode() for char in "\u202e\u2066\x1b\x07\u200b\ufffe\u2028")
    assert "/somewhere" not in svg.decode()


def test_the_graph_shows_backslashes_and_angle_brackets_of_a_stranger_as_they_stand() -> None:
    graph = read_graph(diagram_source(mean_stork()))
    assert "".join(MEAN.split()) in "".join(graph.label.split())
    drawn = subprocess.run(
        ["dot", "-Tsvg"], input=diagram_source(mean_stork()), capture_output=True, text=True, check=True
    ).stdout
    shown = "".join("".join(read_svg(drawn.encode()).itertext()).split())
    assert "".join(MEAN.split()) in shown
    assert "<script" not in drawn


@pytest.mark.parametrize("kind", ["png", "pdf"])
def test_texts_of_a_stranger_do_no_harm_in_png_and_pdf(kind: str) -> None:
    assert diagram_bytes(mean_stork(), kind)[:4] == (b"\x89PNG" if kind == "png" else b"%PDF")


@pytest.mark.parametrize("name", PLANS)
def test_both_engines_give_the_same_names_and_texts(name: str) -> None:
    plan = PLANS[name]()
    one, two = (read_svg(diagram_bytes(plan, "svg", options)) for options in (SYSTEM, WASM))
    assert names_in(one) == names_in(two)
    assert texts_in(one) == texts_in(two)
    assert {"phase_0_0", "guard_0_0_0", "ribbon_watched", "ribbon_rules"} <= set(names_in(one))


def test_a_picture_tells_its_name_its_phases_and_where_each_stands_in_the_file() -> None:
    root = read_svg(diagram_bytes(stork(), "svg"))
    assert root.find(f"{SVG}title").text == "stork_stepping"  # type: ignore[union-attr]
    assert "lean_right, lift_left" in (root.find(f"{SVG}desc").text or "")  # type: ignore[union-attr]
    titles = {g.attrib.get("id"): g.findtext(f"{SVG}title") for g in root.iter(f"{SVG}g")}
    line = stork().sequences[0].phases[1].place.line
    assert titles["phase_0_1"] == f"lean_right (stork.gait.yaml:{line})"
    assert (titles["guard_0_1_0"] or "").startswith("guard 1 of lean_right, to lift_left (stork.gait.yaml:")


def test_a_picture_brings_its_own_white_ground() -> None:
    root = read_svg(diagram_bytes(stork(), "svg"))
    ground = next(e for e in root if e.tag == f"{SVG}rect")
    assert ground.attrib["fill"] == "#ffffff"
    assert (ground.attrib["width"], ground.attrib["height"]) == tuple(root.attrib["viewBox"].split()[2:])


def test_stop_rest_and_fault_are_told_apart_in_words() -> None:
    text = texts_in(read_svg(diagram_bytes(stork(), "svg")))
    for word in (
        "STOP, category 1",
        "controlled stop, then drives off",
        "rest",
        "starts here",
        "fault after 3 s",
    ):
        assert word in text


@pytest.mark.parametrize("options", [SYSTEM, WASM], ids=["system", "wasm"])
@pytest.mark.parametrize("name", PLANS)
def test_no_two_blocks_lie_on_each_other(name: str, options: DiagramOptions) -> None:
    source = diagram_source(PLANS[name]())
    placed = lay_out(source, options.engine).nodes
    graph = read_graph(source)
    boxes = [
        (n, at.x, at.y, 72 * float(graph.attributes[n]["width"]), 72 * float(graph.attributes[n]["height"]))
        for n, at in placed.items()
    ]
    on_each_other = [
        (a[0], b[0])
        for i, a in enumerate(boxes)
        for b in boxes[i + 1 :]
        if abs(a[1] - b[1]) < (a[3] + b[3]) / 2 - 1 and abs(a[2] - b[2]) < (a[4] + b[4]) / 2 - 1
    ]
    assert on_each_other == []


def test_the_ring_of_the_stork_goes_down_one_column_and_up_the_next() -> None:
    placed = lay_out(diagram_source(stork())).nodes
    names = [p.name for p in stork().sequences[0].phases]

    def at(name: str) -> tuple[float, float]:
        place = placed[f"phase_0_{names.index(name)}"]
        return place.x, place.y

    down = [at(n) for n in ("lean_right", "lift_left", "lower_left", "centre_1")]
    up = [at(n) for n in ("lean_left", "lift_right", "lower_right", "centre_2")]
    assert [y for _, y in down] == sorted(y for _, y in down)
    assert [y for _, y in up] == sorted((y for _, y in up), reverse=True)
    assert max(x for x, _ in down) < min(x for x, _ in up)


def test_a_text_runs_no_wider_than_thought_in_the_widest_common_face() -> None:
    # measured with pango through graphviz; DejaVu Sans is what most Linux viewers fall back to
    texts = [
        "left_leg_roll and right_leg_roll have come",
        "within 2 deg of lean or past it",
        "lean -15 or 0 or 15 deg",
    ]
    texts += [
        "fault after 3 s → safe",
        "WEIGHT ON THE STANDING LEG",
        "illicit filling",
        "0123456789 mm",
        "swing_left_1",
    ]
    for text in texts:
        graph = f'graph {{ a [label="{text}" shape=plain margin=0 fontname="DejaVu Sans" fontsize=10] }}'
        answer = subprocess.run(
            ["dot", "-Tplain"], input=graph, capture_output=True, text=True, check=True
        ).stdout
        wide = 72 * float(answer.splitlines()[1].split()[4])
        assert wide * 0.98 <= run_width(text, 10) <= wide * 1.25, text


def test_png_and_pdf_are_written_by_a_system_dot(tmp_path: Path) -> None:
    assert draw(stork(), tmp_path / "stork.png").read_bytes().startswith(b"\x89PNG\r\n")
    assert draw(stork(), tmp_path / "stork.pdf").read_bytes().startswith(b"%PDF-")
    assert draw(stork(), tmp_path / "x", "dot").read_text(encoding="utf-8") == diagram_source(stork())


def test_without_a_dot_an_svg_is_drawn_and_a_png_is_one_clear_error(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", empty_path(tmp_path / "nothing"))
    with_wasm = draw(stork(), tmp_path / "stork.svg").read_bytes()
    assert with_wasm == diagram_bytes(stork(), "svg", WASM)
    for kind in ("png", "pdf"):
        with pytest.raises(ToolError, match=f"a {kind.upper()} needs graphviz's `dot`") as told:
            draw(stork(), tmp_path / f"stork.{kind}")
        assert "apt-get install graphviz" in told.value.hint
        assert "\n" not in told.value.message + told.value.hint
    with pytest.raises(ToolError, match="no `dot` on the PATH"):
        diagram_bytes(stork(), "svg", SYSTEM)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["nothing", "stork.svg"]


def test_a_dot_that_fails_is_replaced_for_an_svg_and_told_for_a_png(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    broken = tmp_path / "dot"
    broken.write_text("#!/bin/sh\necho 'something is broken' >&2\nexit 1\n", encoding="utf-8")
    broken.chmod(broken.stat().st_mode | stat.S_IXUSR)
    monkeypatch.setenv("PATH", f"{tmp_path}{os.pathsep}{os.environ['PATH']}")
    assert diagram_bytes(stork(), "svg") == diagram_bytes(stork(), "svg", WASM)
    with pytest.raises(ToolError) as told:
        diagram_bytes(stork(), "png")
    assert "something is broken" in told.value.output


def test_a_file_is_replaced_whole_and_what_cannot_be_written_is_told(tmp_path: Path) -> None:
    path = tmp_path / "stork.svg"
    path.write_text("old", encoding="utf-8")
    draw(stork(), path)
    assert path.read_bytes().startswith(b"<?xml")
    assert [p.name for p in tmp_path.iterdir()] == ["stork.svg"]
    with pytest.raises(MisuseError, match="cannot be written"):
        draw(stork(), tmp_path / "nowhere" / "stork.svg")
    with pytest.raises(MisuseError, match="cannot be written as yaml"):
        draw(stork(), tmp_path / "stork.gait.yaml")


def test_marks_and_long_names_do_not_break_the_picture() -> None:
    plan = stork()
    first = plan.sequences[0]
    phases = tuple(replace(p, name=f"{p.name}_{'abcdefgh_' * 12}") for p in first.phases)
    long = replace(plan, sequences=(replace(first, phases=phases),))
    marked = DiagramOptions(highlight={phases[2].name: MEAN})
    root = read_svg(diagram_bytes(long, "svg", marked))
    widths = [
        float(t.attrib["x"])
        + run_width(t.text or "", float(t.attrib["font-size"]), bold="font-weight" in t.attrib)
        for g in root.iter(f"{SVG}g")
        if g.attrib.get("class", "").startswith("phase")
        for t in g.findall(f"{SVG}text")
        if "text-anchor" not in t.attrib
    ]
    assert max(widths) <= 216


@pytest.mark.parametrize("make", [stork, tortoise, mean_stork])
def test_what_dot_paints_into_png_and_pdf_has_every_text_of_the_svg(make: Callable[[], Plan]) -> None:
    plan = make()
    graph = graph_of(plan, {})
    page = page_of(graph, lay_out(source_of(graph), "system"))
    source = xdot_source(page.items, page.width, page.height)
    painted = subprocess.run(
        ["dot", "-Knop2", "-Tsvg"], input=source.encode(), capture_output=True, check=True
    )
    root = read_svg(painted.stdout)
    assert (
        texts_in(root).split()
        == texts_in(read_svg(diagram_bytes(plan, "svg", SYSTEM))).replace("\\", "\u2216").split()
    )
    assert (float(root.attrib["width"][:-2]), float(root.attrib["height"][:-2])) == pytest.approx(
        (page.width, page.height), abs=2
    )
