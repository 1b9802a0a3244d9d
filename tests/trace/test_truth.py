"""What a rehearsal knows beside the sensors stands in columns of its own, which no executor reads."""

import io

from support.trace_plans import plan, signal

from sequencer.trace.read import open_trace
from sequencer.trace.record import join_blocks
from sequencer.trace.truth import (
    SUPPORT_MARGIN,
    clearance_column,
    contact_column,
    is_truth,
    link_columns,
    truth_columns,
)

PLAN = plan(signal("roll"))


def test_the_columns_of_truth_are_found_by_their_names() -> None:
    header = [
        "time [ms]",
        "truth.clearance.left_foot [mm]",
        "truth.contact.left_foot",
        "truth.support_margin [mm]",
        "truth.link.left_thigh.y1 [mm]",
        "truth.link.left_thigh.z1 [mm]",
        "truth.link.left_thigh.y2 [mm]",
        " truth.link.left_thigh.z2 [mm] ",
    ]
    found = truth_columns(header)
    assert found.clearance == {"left_foot": 1}
    assert found.contact == {"left_foot": 2}
    assert found.support_margin == 3
    assert found.links == {"left_thigh": (4, 5, 6, 7)}
    assert found


def test_the_names_that_are_written_are_those_that_are_read() -> None:
    header = [clearance_column("a"), contact_column("a"), SUPPORT_MARGIN, *link_columns("b")]
    found = truth_columns(header)
    assert (found.clearance, found.contact, found.support_margin) == ({"a": 0}, {"a": 1}, 2)
    assert found.links == {"b": (3, 4, 5, 6)}
    assert all(is_truth(name) for name in header)


def test_half_a_link_another_unit_and_other_columns_are_not_taken() -> None:
    found = truth_columns(
        [
            "truth.link.a.y1 [mm]",
            "truth.clearance.b [in]",
            "truth.contact.c [mm]",
            "truths",
            "truth.new_thing",
        ]
    )
    assert not found


def test_truth_is_left_unread_in_silence_and_other_columns_are_listed() -> None:
    with open_trace(
        io.BytesIO(b"time,roll,truth.contact.a,truth.new_thing,colour\n0,1,0,,3\n"), PLAN
    ) as reader:
        assert reader.unused == ("colour",)
        assert join_blocks(list(reader)).raw.tolist() == [[1]]
