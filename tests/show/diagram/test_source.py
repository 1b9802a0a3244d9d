"""The diagram's graph: everything of the plan is in it once, and leads where the plan leads."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.diagrams import read_graph, stork, tortoise, wrong_with
from support.plans import Phase, Rule, above, at_target, event, hold_ms, make_plan, setpoint, signal
from support.random_plans import random_plan

from sequencer.base.errors import MisuseError
from sequencer.plan.tables import Plan
from sequencer.show.diagram import DiagramOptions, diagram_source
from sequencer.show.diagram.layout import lay_out

GOLDEN = Path(__file__).parent / "golden"
PLANS = {"stork": stork, "tortoise": tortoise}


@pytest.mark.parametrize("name", PLANS)
def test_the_graph_is_the_golden_one(name: str, golden: Callable[[Path, str], None]) -> None:
    golden(GOLDEN / f"{name}.dot", diagram_source(PLANS[name]()))


@pytest.mark.parametrize("name", PLANS)
def test_everything_of_a_plan_is_in_its_diagram_exactly_once(name: str) -> None:
    plan = PLANS[name]()
    assert wrong_with(plan, diagram_source(plan)) == []


@settings(max_examples=40)
@given(st.integers(0, 2**32))
def test_everything_of_any_plan_is_in_its_diagram_exactly_once(seed: int) -> None:
    plan, _ = random_plan(Random(seed))
    assert wrong_with(plan, diagram_source(plan)) == []


def _without_guard(plan: Plan, phase: int) -> Plan:
    first, *others = plan.sequences
    phases = list(first.phases)
    phases[phase] = replace(phases[phase], exits=phases[phase].exits[:-1])
    return replace(plan, sequences=(replace(first, phases=tuple(phases)), *others))


@pytest.mark.parametrize("phase", range(10))
def test_a_dropped_guard_is_noticed(phase: int) -> None:
    plan = stork()
    faulty = diagram_source(_without_guard(plan, phase))
    name = plan.sequences[0].phases[phase].name
    assert f"guard 1 of {name} is there 0 times" in wrong_with(plan, faulty)


def test_a_dropped_timeout_and_a_dropped_watch_are_noticed() -> None:
    plan = stork()
    first = plan.sequences[0]
    phases = (first.phases[0], replace(first.phases[1], timeout=None), *first.phases[2:])
    faulty = replace(plan, sequences=(replace(first, phases=phases),), anywhere=())
    told = wrong_with(plan, diagram_source(faulty))
    assert "the timeout of lean_right is there 0 times" in told
    assert "`anywhere` 1 is missing" in told


def test_an_arrow_that_leads_elsewhere_is_noticed() -> None:
    plan = stork()
    source = diagram_source(plan)
    faulty = source.replace("guard_0_1_0 -> phase_0_2 ", "guard_0_1_0 -> phase_0_3 ")
    assert faulty != source
    assert wrong_with(plan, faulty) == ["guard 1 of lean_right is there 0 times"]


def test_what_is_watched_all_the_time_is_drawn_once_and_from_no_phase() -> None:
    plan = stork()
    graph = read_graph(diagram_source(plan))
    assert graph.label.count("watched all the time") == 1
    assert graph.label.count("body_roll is outside -25 deg to 25 deg → safe") == 1
    assert not any("body_roll" in text for text in graph.nodes.values())
    safe = next(i for i, p in enumerate(plan.sequences[0].phases) if p.name == "safe")
    assert not any(goal == f"phase_0_{safe}" for _, _, goal in graph.arrows())
    assert "also entered by: watched 1, 2; faults of 8 phases" in graph.nodes[f"phase_0_{safe}"]


def test_rules_stand_beside_the_walk_with_what_follows_from_breaking_them() -> None:
    label = read_graph(diagram_source(tortoise())).label
    assert (
        "at most one front foot in the air not (lf is in swing or reach and rf is in swing or reach)" in label
    )
    assert "if broken → safe in every sequence" in label
    assert "if broken: only reported" in read_graph(diagram_source(stork())).label


def test_cards_say_what_is_commanded_kept_counted_and_pulsed() -> None:
    card = read_graph(diagram_source(stork())).nodes["phase_0_2"]
    assert "left_bend 40 mm = lift" in card
    assert "lean 15 deg (kept)" in card
    assert "feet down: right; lifted: left" in card
    assert "counts steps" in card
    assert "pulses horn" in card


def test_rest_and_stop_phases_differ_by_frame_and_by_word() -> None:
    graph = read_graph(diagram_source(stork()))
    by_word = {text.split()[0]: name for name, text in graph.nodes.items() if name.startswith("phase")}
    rest, stop = graph.attributes[by_word["standing"]], graph.attributes[by_word["STOP,"]]
    assert rest["peripheries"] == "2" and "rest" in rest["label"]
    assert stop["penwidth"] == "3" and "controlled stop, then drives off" in stop["label"]
    assert "peripheries" not in stop and "penwidth" not in rest


def test_each_of_several_sequences_is_a_cluster_and_a_single_one_is_none() -> None:
    assert read_graph(diagram_source(tortoise())).clusters == [f"cluster_sequence_{i}" for i in range(4)]
    assert read_graph(diagram_source(stork())).clusters == []


def test_a_timeout_that_is_alone_in_going_somewhere_is_a_dashed_arrow_with_a_word() -> None:
    walk = [
        Phase("a", [("b", event("go"))], timeout=(1500, "off")),
        Phase("b", [("a", event("go"))]),
        Phase("off", stop=0),
    ]
    graph = read_graph(diagram_source(make_plan({"walk": walk})))
    assert graph.nodes["fault_0_0"] == "fault after 1.5 s"
    assert ("phase_0_0", "fault_0_0", "phase_0_2") in graph.arrows()
    assert graph.attributes["fault_0_0"]["style"] == "dashed"


def test_many_arrows_into_one_phase_are_written_on_the_cards_instead() -> None:
    names = [f"p{i}" for i in range(6)]
    walk = [
        Phase(n, [(names[(i + 1) % 6], event("go")), ("off", event("halt"))], timeout=(1000, "off"))
        for i, n in enumerate(names)
    ]
    plan = make_plan({"walk": [*walk, Phase("off", stop=1, leave=[("p0", event("go"))])]})
    graph = read_graph(diagram_source(plan))
    assert "2. when halt comes → off" in graph.nodes["phase_0_3"]
    assert "fault after 1 s → off" in graph.nodes["phase_0_3"]
    assert "faults of 6 phases; 6 guards written on other cards" in graph.nodes["phase_0_6"]


def test_a_guard_that_starts_its_own_phase_over_is_written_on_the_card() -> None:
    walk = [Phase("a", [("b", event("go")), ("a", above("tilt", 5), hold_ms(30))]), Phase("b")]
    graph = read_graph(diagram_source(make_plan({"walk": walk}, signals=[signal("tilt")])))
    assert "2. when tilt is above 5 deg, for 30 ms starts over" in graph.nodes["phase_0_0"]


def test_a_mark_is_put_on_the_phases_that_are_named() -> None:
    marked = DiagramOptions(highlight={"lift_left": "waited here 3 s"})
    assert read_graph(diagram_source(stork(), marked)).nodes["phase_0_2"].endswith("waited here 3 s")
    one = DiagramOptions(highlight={"rf/swing": "waited"})
    nodes = read_graph(diagram_source(tortoise(), one)).nodes
    assert [name for name, text in nodes.items() if text.endswith(" waited")] == ["phase_1_1"]


@pytest.mark.parametrize("name", ["lift", "lf/lift_left", "x/lift_left"])
def test_a_mark_on_a_phase_that_is_not_there_is_an_error(name: str) -> None:
    with pytest.raises(MisuseError, match="there is no phase"):
        diagram_source(stork(), DiagramOptions(highlight={name: "x"}))


def test_the_same_plan_gives_the_same_text_and_tells_nothing_of_the_disk() -> None:
    one, two = diagram_source(stork()), diagram_source(stork())
    assert one == two
    assert "stork.gait.yaml:" in one
    assert str(Path(__file__).parents[3]) not in one and "examples/" not in one


def test_a_leftover_of_many_targets_is_counted_not_listed() -> None:
    walk = [
        Phase(f"p{i}", [(f"p{(i + 1) % 5}", at_target("arm", 1))], set={"arm": i + 1}, timeout=(1000, "off"))
        for i in range(5)
    ]
    plan = make_plan(
        {"walk": [*walk, Phase("off", stop=0)]},
        signals=[signal("pot")],
        setpoints=[setpoint("arm", followers=[(0, 0)])],
    )
    assert "arm one of 5 targets (left over)" in read_graph(diagram_source(plan)).nodes["phase_0_5"]


def test_a_label_longer_than_graphviz_reads_at_a_time_is_read() -> None:
    rules = [Rule(f"rule {i} {'with a long name ' * 8}", above("tilt", i)) for i in range(200)]
    plan = make_plan({"walk": [Phase("a")]}, signals=[signal("tilt")], rules=rules)
    source = diagram_source(plan)
    assert len(read_graph(source).label) > 2 * 16384
    assert lay_out(source, "system").nodes.keys() == lay_out(source, "wasm").nodes.keys() == {"phase_0_0"}


@st.composite
def tangles(draw: st.DrawFn) -> Plan:
    """Walks that lead anywhere: no ring, several, phases that nothing leads to, guards to themselves."""
    names = [f"p{i}" for i in range(draw(st.integers(1, 25)))]
    goal = st.sampled_from(names)
    phases = [
        Phase(
            name,
            [(to, event("go")) for to in draw(st.lists(goal, max_size=3))],
            timeout=(100, draw(goal)) if draw(st.booleans()) else None,
            stop=draw(st.sampled_from([None, None, None, 0, 1, 2])),
            rest=draw(st.booleans()),
        )
        for name in names
    ]
    return make_plan({f"s{i}": phases for i in range(draw(st.integers(1, 2)))})


@settings(max_examples=60)
@given(tangles())
def test_a_tangle_is_drawn_whole_by_either_engine(plan: Plan) -> None:
    source = diagram_source(plan)
    assert wrong_with(plan, source) == []
    one, two = lay_out(source, "system"), lay_out(source, "wasm")
    assert one.nodes.keys() == two.nodes.keys() == read_graph(source).nodes.keys()
    assert one.routes.keys() == two.routes.keys()
