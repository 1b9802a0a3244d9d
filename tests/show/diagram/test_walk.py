"""Reading a sequence as a walk, following targets through it, and breaking texts into lines."""

import pytest
from support.diagrams import stork
from support.plans import Phase, event, make_plan, setpoint

from sequencer.plan.tables import Plan
from sequencer.show.diagram.targets import targets
from sequencer.show.diagram.text import number, run_width, tidy, wrap
from sequencer.show.diagram.walk import walk_of


def _ring(count: int, *, lead: int = 0, closed: bool = True) -> Plan:
    names = [f"p{i}" for i in range(lead + count)]
    phases = []
    for i, name in enumerate(names):
        last = i + 1 == len(names)
        to = names[lead] if last else names[i + 1]
        phases.append(Phase(name, [] if last and not closed else [(to, event("go"))]))
    return make_plan({"walk": phases})


def test_the_stork_stands_aside_of_its_ring_and_its_stop_beside() -> None:
    plan = stork()
    names = [p.name for p in plan.sequences[0].phases]
    walk = walk_of(plan, 0)
    assert [names[i] for i in walk.lead] == ["standing"]
    assert [names[i] for i in walk.aside] == ["safe"]
    assert [names[i] for i in walk.ring[:3]] == ["lean_right", "lift_left", "lower_left"]
    assert walk.closed and walk.follows(walk.ring[-1], walk.ring[0])


@pytest.mark.parametrize("count", [1, 2, 4, 5, 8, 16, 17, 29, 30, 31, 64, 249])
def test_a_ring_is_folded_into_even_columns_that_keep_its_order(count: int) -> None:
    walk = walk_of(_ring(count), 0)
    sizes = [len(column) for column in walk.columns]
    assert tuple(i for column in walk.columns for i in column) == walk.ring
    assert len(sizes) == 1 if count <= 4 else len(sizes) % 2 == 0
    assert sizes == sorted(sizes, reverse=True) and sizes[0] - sizes[-1] <= 1


def test_a_walk_that_never_comes_back_is_no_ring() -> None:
    walk = walk_of(_ring(6, lead=2, closed=False), 0)
    assert walk.lead == () and len(walk.ring) == 8 and not walk.closed
    assert walk.follows(0, 1) and not walk.follows(7, 0)


def test_targets_follow_every_way_in() -> None:
    plan = make_plan(
        {
            "walk": [
                Phase("a", [("b", event("go")), ("c", event("halt"))], set={"arm": 5}),
                Phase("b", timeout=(100, "c"), set={"arm": 99}),  # over the span: clamped
                Phase("c", stop=0),
                Phase("unreached"),
            ]
        },
        setpoints=[setpoint("arm"), setpoint("idle", start=3.0)],
    )
    assert targets(plan)[0] == (
        (frozenset({5.0}), frozenset({3.0})),
        (frozenset({20.0}), frozenset({3.0})),
        (frozenset({5.0, 20.0}), frozenset({3.0})),
        (frozenset(), frozenset()),
    )


@pytest.mark.parametrize("width", [30.0, 80.0, 200.0])
@pytest.mark.parametrize(
    "text", ["left_leg_roll and right_leg_roll are within 2 deg", "W" * 60, "a_" * 40, "腿" * 20, ""]
)
def test_wrapped_lines_fit_and_lose_nothing(text: str, width: float) -> None:
    lines = wrap(text, width, 10)
    assert "".join("".join(lines).split()) == "".join(text.split())
    assert all(run_width(line, 10) <= width for line in lines)


def test_a_text_over_its_most_lines_ends_in_an_ellipsis() -> None:
    lines = wrap("one two three four five six seven eight nine ten", 60, 10, most=2)
    assert len(lines) == 2 and lines[-1].endswith("…") and run_width(lines[-1], 10) <= 60


def test_texts_lose_what_a_viewer_could_obey() -> None:
    assert tidy("a\u202eb\x00\x1b[31mc\r\n\td\ufffe\ue000 ") == "ab[31mc d"


def test_numbers_are_short_and_never_minus_zero() -> None:
    assert [number(x) for x in (-0.0, 0.10000000149011612, 15.0, -2.5)] == ["0", "0.1", "15", "-2.5"]
