"""The table of times, its bars, and the bars of the diagram."""

import json

from support.commands import STORK, call

from sequencer.check.durations import Duration
from sequencer.plan.build import load_plan
from sequencer.show.diagram import DiagramOptions, diagram_bytes
from sequencer.show.times import BAR, bar, times_text


def test_the_table_has_a_row_for_each_phase_and_the_round() -> None:
    text = times_text(load_plan(STORK))
    for name in ("standing", "lean_right", "lift_left", "safe"):
        assert f"\n  {name} " in text or f"\n  {name}\n" in text
    assert "a round takes 6." in text


def test_a_bar_ends_at_the_timeout() -> None:
    assert bar(Duration(0, 0, 1000.0, 2000.0, 3000, 1)) == "#" * 10 + "+" * 10 + "." * 10
    assert bar(Duration(0, 0, 5000.0, 9000.0, 3000, 1)) == "#" * BAR
    assert bar(Duration(0, 0, None, None, 3000, 1)) == ""


def test_the_diagram_says_times_only_when_asked() -> None:
    plan = load_plan(STORK)
    assert b"at worst" not in diagram_bytes(plan, "svg")
    assert b"at worst" in diagram_bytes(plan, "svg", DiagramOptions(times=True))


def test_times_on_the_command_line() -> None:
    assert "a round takes" in call("plan", STORK, "--times").stdout
    rows = json.loads(call("plan", STORK, "--times", "--json").stdout)["times"]
    assert {"sequence", "phase", "usual_ms", "worst_ms", "timeout_ms"} == set(rows[0])
    assert "times" not in json.loads(call("plan", STORK, "--json").stdout)
