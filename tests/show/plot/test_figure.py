"""Whole plots, read back: size, colours, texts, the same bytes again, and names that want to be more."""

import subprocess
import sys
import xml.etree.ElementTree as ET
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from support.commands import STORK, assert_one_clear_error, call, run

from sequencer.base.errors import MisuseError
from sequencer.show.plot import ink
from sequencer.show.plot.choice import PlotOptions, choose
from sequencer.show.plot.figure import plot
from sequencer.show.report.document import ReportDocument
from sequencer.show.report.foreign import logs_document

WALK = "time,phase,left_contact,right_contact,knee [mm],hip [deg],battery [V]\n" + "".join(
    f"{i / 100:.2f},{('stand', 'lift_left', 'lift_right')[i // 40 % 3]},{int(i // 40 % 3 != 1)},"
    f"{int(i // 40 % 3 != 2)},{i % 40},{i % 17 - 8},{12 - i / 1000:.3f}\n"
    for i in range(400)
)


def document(folder: Path, text: str = WALK) -> ReportDocument:
    path = folder / "walk.csv"
    path.write_text(text, encoding="utf-8")
    return logs_document([str(path)])


def pixels(data: bytes) -> NDArray[np.uint8]:
    from matplotlib.image import imread

    return np.asarray(np.rint(imread(BytesIO(data), format="png")[:, :, :3] * 255), np.uint8)


def count(image: NDArray[np.uint8], colour: str) -> int:
    wanted = [int(colour[i : i + 2], 16) for i in (1, 3, 5)]
    return int((image == wanted).all(axis=2).sum())


def texts(svg: bytes) -> str:
    """Glyphs are drawn as paths; before each text its characters stand as a comment."""
    return svg.decode()


def test_a_png_is_as_wide_as_asked_and_shows_both_feet(tmp_path: Path) -> None:
    image = pixels(plot(document(tmp_path), "png", PlotOptions(width_px=900)).data)
    assert image.shape[1] == 900
    for colour in (ink.LEFT_FOOT, ink.RIGHT_FOOT, ink.SIGNALS[0].colour):
        assert count(image, colour) > 100


def test_a_foot_that_is_up_leaves_its_row_empty(tmp_path: Path) -> None:
    """Half of the time in the air: about half as much of the foot's colour as with a foot that stays down."""
    down = WALK.replace(",0,1,", ",1,1,")
    less, more = (
        count(pixels(plot(document(tmp_path, text), "png").data), ink.LEFT_FOOT) for text in (WALK, down)
    )
    assert less / more == pytest.approx(280 / 400, abs=0.03)


@pytest.mark.parametrize("kind", ["png", "svg", "pdf"])
def test_the_same_run_gives_the_same_bytes_in_another_process_too(tmp_path: Path, kind: str) -> None:
    (tmp_path / "walk.csv").write_text(WALK)
    assert run("plot", "walk.csv", "-o", f"one.{kind}", cwd=tmp_path).returncode == 0
    assert call("plot", tmp_path / "walk.csv", "-o", tmp_path / f"two.{kind}").returncode == 0
    one, two = ((tmp_path / f"{name}.{kind}").read_bytes() for name in ("one", "two"))
    assert one == two
    assert b"CreationDate" not in one and b"dc:date" not in one
    assert str(tmp_path).encode() not in one


def test_an_svg_is_well_formed_and_names_what_it_shows(tmp_path: Path) -> None:
    svg = plot(document(tmp_path), "svg").data
    ET.fromstring(svg)
    for words in (
        "walk.csv",
        "lift_left",
        "left",
        "right",
        "knee",
        "time in s",
        "9 changes of phase in 4.0 s",
    ):
        assert f"<!-- {words}" in texts(svg), words


def test_a_fault_is_marked_and_told(tmp_path: Path) -> None:
    done = run(
        "plot", STORK, "--fault", "left_knee:limit=11mm", "--for", "8s", "-o", tmp_path / "run.svg", "-q"
    )
    assert (done.returncode, done.stdout) == (0, "")
    svg = (tmp_path / "run.svg").read_text()
    assert "<!-- T -->" in svg
    assert "lift_left timed out after 3.0 s: guard 1 waited for left_knee to be within 3 mm of 40 mm" in svg
    assert "thin dashes: thresholds while they counted" in svg


def test_chosen_signals_and_times_only(tmp_path: Path) -> None:
    its = document(tmp_path)
    chosen = choose(its, PlotOptions(("battery", "knee"), 1000, 2000))
    assert [[its.runs[0].columns[i].name for i in p.columns] for p in chosen.panels] == [
        ["knee"],
        ["battery"],
    ]
    assert (chosen.from_ms, chosen.to_ms) == (1000, 2000)
    whole, part = plot(its, "png").data, plot(its, "png", PlotOptions(("battery",), 1000, 2000)).data
    assert pixels(part).shape[0] < pixels(whole).shape[0]


def test_a_signal_of_a_gait_comes_with_what_was_commanded() -> None:
    import sequencer
    from sequencer.show.report.build import report_document
    from sequencer.show.report.recorded import RunSource

    gait = sequencer.load(STORK)
    run = gait.dry_run(duration_s=3)
    its = report_document(gait.plan, [RunSource("follow", run)])
    [panel] = choose(its, PlotOptions(("left_knee",))).panels
    assert [its.runs[0].columns[i].name for i in panel.columns] == [
        "left_bend",
        "left_bend target",
        "left_knee",
    ]
    assert plot(its, "png", PlotOptions(("left_knee",))).data.startswith(b"\x89PNG")


def test_a_plot_is_made_from_python_too(tmp_path: Path) -> None:
    import sequencer

    gait = sequencer.load(STORK)
    gait.plot(tmp_path / "run.svg", gait.dry_run(duration_s=2), signals=["left_knee"])
    assert "<!-- left_knee -->" in (tmp_path / "run.svg").read_text()
    with pytest.raises(MisuseError, match="cannot be written as bmp"):
        gait.plot(tmp_path / "run.bmp")


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (PlotOptions(("kneee",)), "no column of walk.csv that can be drawn is called kneee"),
        (PlotOptions(from_ms=5000), "nothing of the run lies from 5 s to 3.99 s"),
        (PlotOptions(from_ms=2000, to_ms=1000), "nothing of the run lies from 2 s to 1 s"),
    ],
)
def test_what_is_not_in_the_run_is_one_clear_error(tmp_path: Path, options: PlotOptions, said: str) -> None:
    with pytest.raises(MisuseError, match=said) as raised:
        plot(document(tmp_path), "png", options)
    assert raised.value.hint


NASTY = [
    "$x^2_",
    "_hidden",
    "\u202eturned",
    "<b>&amp;",
    "\u8173\u90e8",
    "\u05e8\u05d2\u05dc",
    "a" * 190,
    "$\\frac{$",
]


@pytest.mark.parametrize("kind", ["png", "svg", "pdf"])
def test_any_name_is_drawn_as_it_is_without_a_warning(tmp_path: Path, kind: str) -> None:
    quoted = [f'"{name}"' for name in NASTY]
    text = f"time,phase,{','.join(quoted)}\n" + "".join(
        f"{i},{quoted[i % 7]},{','.join(str(i + j) for j in range(len(NASTY)))}\n" for i in range(9)
    )
    data = plot(document(tmp_path, text), kind).data  # type: ignore[arg-type]
    if kind == "svg":
        ET.fromstring(data)
        assert "<!-- $x^2_ -->" in data.decode() and "<!-- _hidden -->" in data.decode()
        assert "\u202e" not in data.decode()


@pytest.mark.parametrize(
    "text",
    [
        "time,phase\n0,a\n",
        "time,phase,x\n0,a,1\n",
        "time,phase,x\n0,a,nan\n1,a,\n",
        "time,phase,x\n0,a,1\n1,b,nan\n2,a,3\n",
        "time,phase,x\n0,a,1e300\n1,b,-1e300\n",
        "time,phase,x\n0,a,5\n0,b,5\n",
    ],
    ids=["one row", "one number", "no number", "a hole", "huge numbers", "no time passes"],
)
def test_odd_runs_are_drawn_as_well(tmp_path: Path, text: str) -> None:
    assert pixels(plot(document(tmp_path, text), "png").data).shape[1] == 1500


def test_thousands_of_short_phases_are_drawn_as_a_crowd(tmp_path: Path) -> None:
    text = "time [ms],phase\n" + "".join(f"{i},{'ab'[i % 2]}\n" for i in range(20_000))
    data = plot(document(tmp_path, text), "svg").data
    assert len(data) < 300_000


def test_feet_too_quick_to_be_seen_are_a_crowd_and_not_a_foot_that_stays_down(tmp_path: Path) -> None:
    text = "time [ms],phase,left_touch\n" + "".join(f"{i},a,{i % 2}\n" for i in range(20_000))
    image = pixels(plot(document(tmp_path, text), "png").data)
    assert count(image, ink.LEFT_FOOT) == 0
    assert count(image, ink.CROWD) > 1000


def test_a_window_is_never_opened(tmp_path: Path) -> None:
    (tmp_path / "walk.csv").write_text(WALK)
    done = run(
        "plot", "walk.csv", "-o", "a.png", cwd=tmp_path, environment={"MPLBACKEND": "TkAgg", "DISPLAY": ""}
    )
    assert done.returncode == 0, done.stderr


def test_without_matplotlib_one_error_says_how_to_get_it(tmp_path: Path) -> None:
    (tmp_path / "walk.csv").write_text(WALK)
    code = (
        "import sys; sys.modules['matplotlib'] = None; from sequencer.cli.main import main; "
        "sys.exit(main(['plot', 'walk.csv', '-o', 'a.png']))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert_one_clear_error(done, "matplotlib is not installed", "pip install 'gait-sequencer[plot]'")
    assert not (tmp_path / "a.png").exists()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["walk.csv", "-o", "a.gif"], ["cannot be written as gif", "png, svg, pdf"]),
        (["walk.csv", "-o", "a"], ["without an ending"]),
        (["walk.csv", "--signals", "nee"], ["called nee", "did you mean knee?"]),
        (["walk.csv", "--from", "9s"], ["nothing of the run"]),
        (["walk.csv", "--from", "soon"], ["is not a time"]),
        (["walk.csv", "--width", "3"], ["600<=x<=6000"]),
        (["none.csv"], ["cannot be opened"]),
        (["walk.csv", "walk.csv", "walk.csv"], ["one RUN, or two"]),
        (["walk.csv", "-o", "mine.png"], ["mine.png exists already and looks like something else"]),
        (["walk.csv", "--json", "-o", "-"], ["can't both go to standard output"]),
    ],
)
def test_misuse_is_one_clear_error_and_writes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: list[str], words: list[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "walk.csv").write_text(WALK)
    (tmp_path / "mine.png").write_bytes(b"\x89PNG mine")
    done = call("plot", *arguments)
    if "--json" in arguments:
        assert done.returncode == 2 and words[0] in done.stdout
    else:
        assert_one_clear_error(done, *words)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["mine.png", "walk.csv"]
    assert (tmp_path / "mine.png").read_bytes() == b"\x89PNG mine"


def test_a_plot_of_ours_is_replaced_and_stands_beside_the_run(tmp_path: Path) -> None:
    (tmp_path / "walk.csv").write_text(WALK)
    for _ in range(2):
        done = call("plot", tmp_path / "walk.csv")
        assert (done.returncode, done.stderr) == (0, f"plotted: {tmp_path / 'walk.png'}\n")
