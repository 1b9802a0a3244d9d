"""Reports of logs without a gait: phases, contacts, both sides, plots, and what is told of a messy file."""

from pathlib import Path

import numpy as np
import pytest
from support.commands import assert_one_clear_error, call, run

from sequencer.base.errors import MisuseError, TraceError
from sequencer.show.report.document import Recorded, ReportDocument
from sequencer.show.report.foreign import MOST_COLUMNS, logs_document
from sequencer.show.report.pack import unpack
from sequencer.show.report.page import json_text

WALK = (
    "time [ms],phase,left_contact,right_contact,knee [mm],knee_target [mm],battery [V],motor_on,cause\n"
    "0,stand,1,1,0,0,12.1,1,\n"
    "10,lift_left,1,1,0,40,,1,go\n"
    "20,lift_left,0,1,20,40,,1,\n"
    "30,lift_left,0,1,38,40,11.9,1,\n"
    "40,lower_left,0,1,30,0,,1,knee\n"
    "50,lower_left,1,1,5,0,,1,\n"
    "60,lift_right,1,0,5,0,11.8,1,timeout of lower_left\n"
    "70,lift_right,1,0,5,0,,1,\n"
    "80,lower_right,1,1,5,0,,0,\n"
)


def document(folder: Path, text: str = WALK, **more: object) -> ReportDocument:
    path = folder / "walk.csv"
    path.write_text(text, encoding="utf-8")
    return logs_document([str(path)], **more)  # type: ignore[arg-type]


def one(folder: Path, text: str = WALK, **more: object) -> Recorded:
    return document(folder, text, **more).runs[0]


def figures(its: Recorded) -> dict[str, str]:
    return {figure.name: figure.value for figure in its.figures}


def drawn(its: Recorded) -> list[list[str]]:
    return [[its.columns[i].name for i in plot.columns] for plot in its.plots]


def values(its: Recorded, name: str) -> list[float]:
    [column] = [column for column in its.columns if column.name == name]
    return [float(x) for piece in column.pieces for x in unpack(piece)]


def test_phases_and_changes_are_those_of_the_log(tmp_path: Path) -> None:
    its = document(tmp_path)
    [walk] = its.walk.sequences
    assert its.walk.gait is None
    assert [p.name for p in walk.phases] == ["stand", "lift_left", "lower_left", "lift_right", "lower_right"]
    assert [p.mirror for p in walk.phases] == [None, 3, 4, 1, 2]
    [stays], moves = its.runs[0].stays, its.runs[0].moves
    assert unpack(stays.from_).tolist() == [0, 10, 40, 60, 80]
    assert unpack(stays.to).tolist() == [10, 40, 60, 80, 80]
    assert unpack(stays.phase).tolist() == [0, 1, 2, 3, 4]
    assert unpack(moves.at).tolist() == [10, 40, 60, 80]
    assert unpack(moves.tick).tolist() == [1, 4, 6, 8]
    assert unpack(moves.stayed).tolist() == [10, 30, 20, 20]
    assert [moves.causes[i] for i in unpack(moves.cause)] == [
        "go",
        "knee",
        "timeout of lower_left",
        "as the log says",
    ]


def test_a_change_that_the_log_calls_a_timeout_is_a_trouble(tmp_path: Path) -> None:
    its = one(tmp_path)
    assert its.failed
    [trouble] = its.troubles
    assert (trouble.kind, trouble.at) == ("timeout", 60)
    assert trouble.words == "lower_left was left after 20 ms: timeout of lower_left"


def test_columns_called_contact_tell_when_feet_are_down(tmp_path: Path) -> None:
    left, right = one(tmp_path).contacts
    assert (left.name, left.side, left.source) == ("left", "left", "measured")
    assert (unpack(left.from_).tolist(), unpack(left.to).tolist()) == ([0, 50], [20, 80])
    assert (unpack(right.from_).tolist(), unpack(right.to).tolist()) == ([0, 80], [60, 80])


def test_a_number_and_its_target_share_a_plot_and_switches_come_last(tmp_path: Path) -> None:
    its = one(tmp_path)
    assert drawn(its) == [
        ["knee", "knee_target"],
        ["battery"],
        ["left_contact", "right_contact", "motor_on"],
    ]
    assert [(p.title, p.unit) for p in its.plots] == [("knee", "mm"), ("battery", "V"), ("on or off", "")]
    assert {c.name: c.role for c in its.columns} == {
        "left_contact": "other",
        "right_contact": "other",
        "knee": "signal",
        "knee_target": "target",
        "battery": "signal",
        "motor_on": "other",
    }


def test_columns_without_a_unit_share_a_plot_only_with_their_kin(tmp_path: Path) -> None:
    its = one(tmp_path, "time,phase,left_knee,volts,right_knee,rpm\n0,a,1,12,2,900\n1,b,2,11,3,950\n")
    assert drawn(its) == [["left_knee", "right_knee"], ["volts"], ["rpm"]]


def test_a_number_stands_until_the_next_one_but_not_for_ever(tmp_path: Path) -> None:
    cells = ["5", "", "6", "", "7", "", "", "", "", "", "", ""]
    its = one(tmp_path, "time,phase,x\n" + "".join(f"{i},a,{c}\n" for i, c in enumerate(cells)))
    got = values(its, "x")
    assert got[:6] == [5, 5, 6, 6, 7, 7]
    # 12 rows and 3 samples: a sample in 4 rows is usual, three times that would outlast the log
    assert got[6:] == [7, 7, 7, 7, 7, 7]
    dense = ["1"] * 20 + [""] * 10
    its = one(tmp_path, "time,phase,x\n" + "".join(f"{i},a,{c}\n" for i, c in enumerate(dense)))
    assert values(its, "x")[:25] == [1] * 25
    assert np.isnan(values(its, "x")[25:]).all()


def test_nan_is_a_number_that_is_not_there(tmp_path: Path) -> None:
    got = values(one(tmp_path, "time,phase,x\n0,a,1\n1,a,nan\n2,a,inf\n3,a,4\n"), "x")
    assert np.isnan(got).tolist() == [False, True, True, False]


def test_a_contact_that_is_not_known_stays_as_it_was(tmp_path: Path) -> None:
    text = "time [ms],phase,l_touch,r_touch\n0,a,1,0\n1,a,nan,0\n2,a,1,1\n3,a,0,nan\n4,a,0,1\n"
    left, right = one(tmp_path, text).contacts
    assert (unpack(left.from_).tolist(), unpack(left.to).tolist()) == ([0], [3])
    assert (unpack(right.from_).tolist(), unpack(right.to).tolist()) == ([2], [4])


@pytest.mark.parametrize(
    ("names", "feet"),
    [
        (("lf_touch", "rh_touch"), ["left front", "right hind"]),
        (("LeftFootContact", "RightFootContact"), ["left", "right"]),
        (("contact_r", "contact_l"), ["left", "right"]),
        (("left_heel_contact", "left_toe_contact"), ["left_heel_contact", "left_toe_contact"]),
        (("foot_left", "foot_right"), ["left", "right"]),
        (("knee", "motors"), []),
    ],
)
def test_names_tell_the_feet(tmp_path: Path, names: tuple[str, str], feet: list[str]) -> None:
    its = one(tmp_path, f"time,phase,{','.join(names)}\n0,a,0,1\n1,b,1,0\n2,a,0,1\n")
    assert [c.name for c in its.contacts] == feet


def test_a_force_in_newton_is_no_contact(tmp_path: Path) -> None:
    assert one(tmp_path, "time,phase,left_contact [N]\n0,a,0\n1,b,311.5\n2,a,140\n").contacts == []


def test_sequences_for_feet_tell_contacts_by_the_names_of_phases(tmp_path: Path) -> None:
    rows = ("stance,stance", "swing,stance", "stance,swing", "stance,stance")
    text = "time [ms],left.phase,right.phase\n" + "".join(f"{10 * i},{row}\n" for i, row in enumerate(rows))
    left, right = one(tmp_path, text).contacts
    assert (left.name, left.source, right.source) == ("left", "commanded", "commanded")
    assert (unpack(left.from_).tolist(), unpack(left.to).tolist()) == ([0, 20], [10, 30])
    assert (unpack(right.from_).tolist(), unpack(right.to).tolist()) == ([0, 30], [20, 30])


def test_both_sides_are_compared_by_the_names_of_phases(tmp_path: Path) -> None:
    text = "time [ms],phase\n" + "".join(
        f"{at},{phase}\n"
        for at, phase in [
            (0, "stand"),
            (10, "lift_left"),
            (40, "lift_right"),
            (60, "lift_left"),
            (100, "lift_right"),
            (110, "stand"),
            (120, "stand"),
        ]
    )
    [pair] = one(tmp_path, text).symmetry
    assert pair.what == "time in lift_left / lift_right"
    assert (pair.left.count, pair.left.median, pair.left.least, pair.left.most) == (2, 35, 30, 40)
    assert (pair.right.count, pair.right.median, pair.right.least, pair.right.most) == (2, 15, 10, 20)


def test_stays_that_the_log_cuts_off_are_not_compared(tmp_path: Path) -> None:
    phases = ["lift_left"] * 2 + ["lift_right"] * 3 + ["lift_left"] * 4 + ["lift_right"] * 5
    text = "time [ms],phase\n" + "".join(f"{i},{phase}\n" for i, phase in enumerate(phases))
    [pair] = one(tmp_path, text).symmetry
    assert (pair.left.count, pair.left.median, pair.right.count, pair.right.median) == (1, 4, 1, 3)


def test_one_row_no_change_and_no_numbers_are_a_report_as_well(tmp_path: Path) -> None:
    its = one(tmp_path, "time,phase\n3,stand\n")
    assert (its.ticks, its.start, its.end) == (1, 3000, 3000)
    assert its.summary == "stayed in stand for 0 ms"
    assert its.plots == [] and len(unpack(its.moves.at)) == 0
    its = one(tmp_path, "time,phase,x\n0,stand,1\n2,stand,2\n")
    assert its.summary == "stayed in stand for 2.0 s"


def test_gaps_left_out_rows_and_odd_cells_are_told(tmp_path: Path) -> None:
    lines = [f"{i / 100:.2f},a,{i},note" for i in range(20)]
    lines[7] += ",more"
    lines[9] = "0.09,a,???,note"
    lines += ["5.20,b,1,note", "5.21,b,1,note"]
    told = figures(one(tmp_path, "time,phase,x,why\n" + "\n".join(lines) + "\n5.3"))
    assert told["rows"] == "21, usually 10 ms apart"
    assert told["gaps in time"] == "1, the longest 5.0 s at 0.19 s"
    assert told["rows left out"] == "2; first line 9: 5 cells where the header has 4"
    assert told["cells that are no numbers"] == "x 1"
    assert told["columns of text, not drawn"] == "why"


def test_a_clock_that_counts_from_1970_begins_at_zero(tmp_path: Path) -> None:
    its = one(tmp_path, "time,phase\n1700000000.5,a\n1700000002.5,b\n")
    assert (its.start, its.end) == (0, 2000)
    assert figures(its)["the clock's 0"] == "1700000000.500 s in the log"


def test_a_thousand_columns_are_cut_to_what_can_be_looked_at_and_any_can_be_chosen(tmp_path: Path) -> None:
    names = [f"s{i}" for i in range(1000)]
    text = f"time,phase,{','.join(names)}\n" + "".join(
        f"{t},{'ab'[t % 2]},{','.join(str(i + t) for i in range(1000))}\n" for t in range(5)
    )
    its = one(tmp_path, text)
    assert len(its.columns) == MOST_COLUMNS
    assert figures(its)["columns that are not drawn"] == str(1000 - MOST_COLUMNS)
    its = one(tmp_path, text, columns=["s999", "s3"])
    assert [c.name for c in its.columns] == ["s999", "s3"]
    assert values(its, "s999") == [999, 1000, 1001, 1002, 1003]
    with pytest.raises(MisuseError, match="no column of numbers called s1000"):
        one(tmp_path, text, columns=["s1000"])


def test_two_logs_are_laid_over_each_other_with_one_list_of_phases(tmp_path: Path) -> None:
    for name, phases in (("one.csv", "ab"), ("two.csv", "bca")):
        rows = "".join(f"{i},{phase}\n" for i, phase in enumerate(phases))
        (tmp_path / name).write_text("time,phase\n" + rows)
    its = logs_document([str(tmp_path / "one.csv"), str(tmp_path / "two.csv")], ["a note"])
    assert its.title == "one.csv over two.csv"
    assert its.notes == ["a note"]
    assert [p.name for p in its.walk.sequences[0].phases] == ["a", "b", "c"]
    assert [unpack(r.stays[0].phase).tolist() for r in its.runs] == [[0, 1], [1, 2, 0]]


def test_logs_of_different_sequences_are_not_laid_over_each_other(tmp_path: Path) -> None:
    (tmp_path / "one.csv").write_text("time,phase\n0,a\n")
    (tmp_path / "two.csv").write_text("time,left.phase,right.phase\n0,a,b\n")
    with pytest.raises(MisuseError, match="has the sequences walk, but"):
        logs_document([str(tmp_path / "one.csv"), str(tmp_path / "two.csv")])


NASTY = '"</script><script>alert(1)</script>"'


def test_names_that_look_like_markup_or_turn_text_round_stay_harmless(tmp_path: Path) -> None:
    text = f"time,phase,{NASTY},\u202etouch\u202c\n0,{NASTY},1,0\n1,\u202eab,2,1\n2,\u2066\u2069,1,0\n"
    its = document(tmp_path, text, notes=["\u202e<b>"])
    assert [p.name for p in its.walk.sequences[0].phases] == [NASTY.strip('"'), "ab", "?"]
    assert its.notes == ["<b>"]
    spelled = json_text(its)
    assert "<" not in spelled and "\u202e" not in spelled and "\u2066" not in spelled


def test_what_a_dry_run_wrote_is_a_log_too(tmp_path: Path) -> None:
    stork = Path(__file__).parents[3] / "examples" / "stork" / "stork.gait.yaml"
    csv = tmp_path / "run.csv"
    assert call("dry-run", stork, "--for", "20s", "--out", csv, "-q").returncode == 0
    its = logs_document([str(csv)])
    assert {p.name for p in its.walk.sequences[0].phases} >= {"standing", "lean_right", "lift_left"}
    causes = {its.runs[0].moves.causes[i] for i in unpack(its.runs[0].moves.cause)}
    assert "guard 1" in causes
    assert any({"lean", "lean.target"} <= set(names) for names in drawn(its.runs[0]))
    for verb in ("report", "plot"):
        done = call(verb, csv, "--gait", stork)
        assert_one_clear_error(done, "tells a run that dry-run made", "leave --gait out")


def test_the_same_log_gives_the_same_document(tmp_path: Path) -> None:
    assert document(tmp_path) == document(tmp_path)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("time,x\n0,1\n", ("walk.csv:1:1", "no column phase", "--gait")),
        ("time,phase\n1,a\n0,b\n", ("walk.csv:3:1", "time goes backwards")),
        ("time,phase\n", ("there is a header but no row",)),
    ],
)
def test_a_log_that_cannot_be_shown_is_one_clear_error_and_no_file(
    tmp_path: Path, text: str, words: tuple[str, ...]
) -> None:
    (tmp_path / "walk.csv").write_text(text)
    done = run("report", "walk.csv", cwd=tmp_path)
    assert_one_clear_error(done, *words)
    assert [p.name for p in tmp_path.iterdir()] == ["walk.csv"]


def test_a_time_that_falls_in_the_middle_of_a_log_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(TraceError, match="time goes backwards"):
        one(tmp_path, "time,phase\n0,a\n1,b\n0.5,c\n")


def test_a_log_comes_from_standard_input_as_well(tmp_path: Path) -> None:
    done = run("report", "-", "-o", "page.html", cwd=tmp_path, text_in=WALK)
    assert done.returncode == 0, done.stderr
    assert "standard input" in (tmp_path / "page.html").read_text()


def test_a_recording_without_phases_names_both_ways_on_the_command_line(tmp_path: Path) -> None:
    (tmp_path / "walk.csv").write_text("time,state,x\n0,up,1\n1,down,2\n2,down,2\n")
    assert_one_clear_error(run("plot", "walk.csv", cwd=tmp_path), "--gait", "--map phase=state")
    done = run("plot", "walk.csv", "--map", "phase=state", "-o", "a.svg", cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "plotted: a.svg\n")
    assert "<!-- down -->" in (tmp_path / "a.svg").read_text()
