"""A controller's own counters as the time column of a recording."""

from pathlib import Path

import pytest
from support import plans as p

from sequencer.base.errors import TraceError
from sequencer.trace.layout import TraceOptions
from sequencer.trace.read import open_trace

PLAN = p.make_plan(
    {"walk": [p.Phase("wait", [("done", p.above("x", 5))]), p.Phase("done")]},
    signals=[p.signal("x", low=-10.0, high=10.0, lost_after_ms=100)],
)


def last_now(folder: Path, text: str, mapping: dict[str, str] | None = None) -> int:
    path = folder / "log.csv"
    path.write_text(text, encoding="utf-8")
    with open_trace(path, PLAN, TraceOptions(mapping or {})) as reader:
        blocks = list(reader)
    return int(blocks[-1].now[-1])


@pytest.mark.parametrize(("name", "factor"), [("millis", 1), ("Millis", 1), ("micros", 1000)])
def test_millis_and_micros_are_what_they_say(name: str, factor: int, tmp_path: Path) -> None:
    text = f"{name},x.value\n0,1\n{500 * factor},2\n"
    assert last_now(tmp_path, text) == 500
    assert last_now(tmp_path, text, {"time": name}) == 500  # and not seconds


def test_a_time_of_the_usual_name_comes_first(tmp_path: Path) -> None:
    assert last_now(tmp_path, "time_s,millis,x.value\n0,7,1\n0.2,900,2\n") == 200


def test_without_any_time_the_error_names_them(tmp_path: Path) -> None:
    with pytest.raises(TraceError) as raised:
        last_now(tmp_path, "when,x.value\n0,1\n")
    assert "millis or micros" in str(raised.value.expected)
