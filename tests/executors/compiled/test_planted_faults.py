"""Faults planted into the templates: the comparison of random gaits must find every one of them."""

import re
from pathlib import Path

import pytest
from support.planted import differs, one_ulp_up, plant

from sequencer.generate import render


def test_without_a_planted_fault_there_is_no_difference(templates: Path, tmp_path: Path) -> None:
    assert not differs(tmp_path, detail=True)


def test_a_threshold_that_is_off_by_one_unit_in_the_last_place_is_found(
    templates: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert one_ulp_up("15.0F") == "15.000001F"
    plant(templates / "portable", "_guards.j2", "{{ l.plus }}{% else %}", "{{ l.plus | off }}{% else %}")
    monkeypatch.setitem(render.built_in("portable").filters, "off", one_ulp_up)
    assert differs(tmp_path)


FAULTS = [
    # (what, template, as it is, as it must not be)
    ("gain and bias in one rounding", "_samples.j2",
     "{% if scale.gain %}product(raw, {{ scale.gain }}){% else %}raw{% endif %} + {{ scale.bias }}",
     "{% if scale.gain %}static_cast<float>(static_cast<double>(raw) * {{ scale.gain }} + {{ scale.bias }})"
     "{% else %}raw + {{ scale.bias }}{% endif %}"),
    ("lost one millisecond early", "_samples.j2", "> {{ loss.lost_ms }}", ">= {{ loss.lost_ms }}"),
    ("a lost signal revived by the wrap", "_samples.j2", "late ? static_cast<uint8_t>(kept | is_lost) : kept",
     "late ? static_cast<uint8_t>(kept | is_lost) : static_cast<uint8_t>(kept & is_seen)"),
    ("a sample that is not finite", "_samples.j2", "(x <= 3.4028235e38F)", "(x <= x + 1.0F)"),
    ("the remote lost one millisecond early", "_samples.j2", "> {{ g.remote.lost_ms }}",
     ">= {{ g.remote.lost_ms }}"),
    ("a hold one millisecond long", "_holds.j2", ">= ms", "> ms"),
    ("one fresh sample more", "_holds.j2", "return count >= samples", "return count > samples"),
    ("freshness kept while the guard is not true", "_holds.j2", "if ((!guard) || more)", "if (more)"),
    ("lost signals waited for", "_holds.j2", "if ((s.seen[signal] & is_lost) == 0U)", "if (true)"),
    ("a timeout one tick late", "_sequences.j2", ">= {{ phase.timeout_ms }}", "> {{ phase.timeout_ms }}"),
    ("holds that outlive their phase", "_sequences.j2", 'clear_range("hold", sequence.timers, "0U")',
     'clear_range("hold", (0, 0), "0U")'),
    ("latches that outlive their phase", "_sequences.j2", 'clear_range("latch", sequence.latches, "false")',
     'clear_range("latch", (0, 0), "false")'),
    ("a latch that unknown leaves alone", "_guards.j2", "= ({{ leaf.var }} == yes);",
     "= ({{ leaf.var }} == yes) || (({{ leaf.var }} == unknown) && s.latch[{{ leaf.latch }}]);"),
    ("a strict at_least", "_guards.j2", '{% if op == "at_least" %}{{ v }} >= {{ low }}',
     '{% if op == "at_least" %}{{ v }} > {{ low }}'),
    ("unknown taken for false by not", "_guards.j2", "opposite({{ step.operands[0] }})",
     "({{ step.operands[0] }} == yes) ? no : yes"),
    ("a counter that wraps one early", "_sequences.j2", "s.counter[{{ counter }}] < 0xFFFFU",
     "s.counter[{{ counter }}] < 2U"),
    ("entry values after the ramp", "_sequences.j2", "s.entry[{{ slot }}] = s.setpoint[{{ setpoint }}]",
     "s.entry[{{ slot }}] = s.target[{{ setpoint }}]"),
    ("no clamping", "_setpoints.j2", "if (level < {{ setpoint.low }})", "if (level < -1.0e30F)"),
    ("a ramp that rounds elsewhere", "_setpoints.j2", "v = from + step", "v = target - (d - step)"),
    ("drives back on in a stop phase", "_stop.j2", "if (!stopped) {", "if ((!stopped) || (!off)) {"),
    ("a rule that beats anywhere", "_tick.j2", "if ((everyone == no_change) && (s.rule[",
     "if ((true) && (s.rule["),
    ("a held sequence that re-enters", "_tick.j2", "if (s.{{ sequence.phase }} != {{ sequence.to }}) {",
     "if (true) {"),
    ("a sequence held by an unmet hold looks at its guards", "_tick.j2", "} else if ({{ sequence.stay }}) {",
     "} else if (false) {"),
    ("a parameter at the end of its span refused", "_tick.j2", "(value <= {{ parameter.high }})",
     "(value < {{ parameter.high }})"),
    ("targets that miss a trimmed parameter", "_tick.j2", "    {{ setpoint.retarget }}(s);\n", ""),
    ("rules that see the events", "_guards.j2", '{%- elif leaf.kind == "no_event" %}no',
     '{%- elif leaf.kind == "no_event" %}truth((in.events & {{ leaf.name }}) != 0U)'),
]  # fmt: skip


@pytest.mark.parametrize(("name", "old", "new"), [f[1:] for f in FAULTS], ids=[f[0] for f in FAULTS])
def test_a_planted_fault_is_found(name: str, old: str, new: str, templates: Path, tmp_path: Path) -> None:
    plant(templates / "portable", name, old, new)
    assert differs(tmp_path)


def test_every_template_has_a_planted_fault() -> None:
    named = {fault[1] for fault in FAULTS}
    parts = {p.name for p in (render.templates_root() / "portable").glob("_*.j2")}
    elsewhere = {"_follow.j2", "_margins.j2", "_loops.j2", "_outputs.j2"}
    assert parts - named == elsewhere, "these have tests of their own, below and in test_planted_in_drives.py"


@pytest.mark.parametrize(
    ("name", "old", "new"),
    [
        ("_margins.j2", "least_margin = (m < least_margin) ? m : least_margin;", "least_margin = m;"),
        ("_margins.j2", "return (b < a) ? b : a;", "return a;"),
        ("_margins.j2", "? -x : (x + 0.0F)", "? x : x"),
        ("_guards.j2", "{{ v }} - {{ low }}\n", "{{ low }} - {{ v }}\n"),
    ],
)
def test_a_fault_in_a_margin_is_found(name: str, old: str, new: str, templates: Path, tmp_path: Path) -> None:
    plant(templates / "portable", name, old, new)
    assert differs(tmp_path, detail=True)


def test_a_fault_in_what_follows_a_setpoint_is_found(templates: Path, tmp_path: Path) -> None:
    path = templates / "portable" / "_follow.j2"
    text = path.read_text(encoding="utf-8")
    path.write_text(re.sub(r"\(aim \+ \{\{ offset \}\}\)", "aim - {{ offset }}", text), encoding="utf-8")
    assert differs(tmp_path, detail=True)  # a rounding: it shows in truths first
