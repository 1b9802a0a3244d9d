"""Faults planted into the templates: the comparison of random gaits must find every one of them."""

from dataclasses import replace
from pathlib import Path

import pytest
from support.builds import build_many
from support.planted import batch, differs, one_ulp_up, plant
from support.random_plans import random_plan

from sequencer.executors.reference import ReferenceExecutor
from sequencer.generate import guards, render, truths
from sequencer.history.compare import first_difference
from sequencer.plan.tables import Level
from sequencer.trace.blocks import FRESH_RAW


def test_without_a_planted_fault_there_is_no_difference(templates: Path, tmp_path: Path) -> None:
    assert not differs(tmp_path, detail=True)


def test_without_what_only_some_compilers_know_there_is_no_difference(
    templates: Path, tmp_path: Path
) -> None:
    plant(templates / "portable", "gait.cpp.j2", "#ifdef __GNUC__", "#if 0")
    assert not differs(tmp_path, detail=True)


@pytest.mark.parametrize("planted", [False, True])
def test_a_raw_sample_that_stays_minus_nothing_is_found(
    planted: bool, templates: Path, tmp_path: Path
) -> None:
    if planted:
        plant(templates / "portable", "gait.cpp.j2", "? 0.0F : x;", "? x : x;")
    cases = batch(random_plan, 0)
    executors = build_many([plan for plan, _, _ in cases], tmp_path, optimise="-O0")
    differences = []
    for (plan, block, _), executor in zip(cases, executors, strict=True):
        plain = [i for i, s in enumerate(plan.signals) if s.gain == 1 and s.bias == 0]
        raw, fresh = block.raw.copy(), block.fresh.copy()
        raw[:, plain], fresh[:, plain] = -0.0, FRESH_RAW
        nothing = replace(block, raw=raw, fresh=fresh)
        record = ReferenceExecutor(plan).run(nothing, detail=True)
        differences.append(first_difference(plan, record, executor.run(nothing, detail=True)))
    assert any(differences) == planted


def test_a_threshold_that_is_off_by_one_unit_in_the_last_place_is_found(
    templates: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert one_ulp_up("15.0F") == "15.000001F"
    spelled = truths.Truths._level

    def off(self: truths.Truths, level: Level) -> str:
        text = spelled(self, level)
        return text if level.parameter is not None else one_ulp_up(text)

    monkeypatch.setattr(truths.Truths, "_level", off)
    assert differs(tmp_path)


def test_unknown_taken_for_false_by_not_is_found(
    templates: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(truths, "_not", lambda of: truths.Conditions(f"(!{of.true})", of.true))
    assert differs(tmp_path)


def test_rules_that_see_the_events_are_found(
    templates: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    guard = truths.Truths.guard
    monkeypatch.setattr(
        truths.Truths, "guard", lambda *given, **more: guard(*given, **{**more, "events": True})
    )
    assert differs(tmp_path)


def test_guards_that_share_code_although_they_differ_are_found(
    templates: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(guards, "_without_place", lambda leaf: type(leaf).__name__)
    assert differs(tmp_path)


FAULTS = [
    # (what, template, as it is, as it must not be)
    ("gain and bias in one rounding", "_samples.j2",
     "product(raw, {{ scale.gain }}) + {{ scale.bias }}",
     "static_cast<float>(static_cast<double>(raw) * {{ scale.gain }} + {{ scale.bias }})"),
    ("a ramp that thinks itself there", "gait.cpp.j2", "return bits_of(a) == bits_of(b);",
     "return (bits_of(a) >> 8U) == (bits_of(b) >> 8U);"),
    ("lost one millisecond early", "_samples.j2", "> {{ loss.lost_ms }}", ">= {{ loss.lost_ms }}"),
    ("all lost one millisecond early", "_samples.j2", "> {{ g.last.alone }}", ">= {{ g.last.alone }}"),
    ("a lost signal revived by the wrap", "_samples.j2", '"(is_seen | is_lost)" if', '"is_seen" if'),
    ("a sample that is not finite", "gait.cpp.j2", "!= 0x7F80U;", "!= 0x7F81U;"),
    ("the remote lost one millisecond early", "_samples.j2", "> {{ g.remote.lost_ms }}",
     ">= {{ g.remote.lost_ms }}"),
    ("a hold one millisecond long", "_holds.j2", ">= ms", "> ms"),
    ("one fresh sample more", "_holds.j2", "return s.count[slot] >= samples",
     "return s.count[slot] > samples"),
    ("one fresh sample more of signals that can be lost", "_holds.j2", "return count >= samples",
     "return count > samples"),
    ("freshness kept of what cannot be lost", "_holds.j2", "    gathered = 0U;\n    s.count[slot] = 0U;",
     "    s.count[slot] = 0U;"),
    ("freshness kept while the guard is not true", "_holds.j2", "if ((!guard) || more)", "if (more)"),
    ("lost signals waited for", "_holds.j2", "if ((s.seen[signal] & is_lost) == 0U)", "if (true)"),
    ("a timeout one tick late", "_sequences.j2", ">= limit)", "> limit)"),
    ("holds that outlive their phase", "_sequences.j2", 'clear_range("hold", sequence.timers, "0U")',
     'clear_range("hold", (0, 0), "0U")'),
    ("latches that outlive their phase", "_sequences.j2", 'clear_range("latch", sequence.latches, "false")',
     'clear_range("latch", (0, 0), "false")'),
    ("a latch that stays", "_guards.j2", "s.latch[{{ latch.slot }}] = {{ latch.var }};",
     "s.latch[{{ latch.slot }}] = {{ latch.var }} || s.latch[{{ latch.slot }}];"),
    ("a strict at_least", "_follow.j2", '("at_least", ">=")', '("at_least", ">")'),
    ("a signal compared although it is not known", "_follow.j2",
     "return known(s, signal) && (s.value[signal] {{ sign }} t);", "return s.value[signal] {{ sign }} t;"),
    ("nothing counted as past the target", "_follow.j2", "(way == from_below) ? -e :",
     "(way == from_below) ? size_of(e) :"),
    ("a counter that wraps one early", "_sequences.j2", "s.counter[{{ counter }}] < 0xFFFFU",
     "s.counter[{{ counter }}] < 2U"),
    ("entry values after the ramp", "_sequences.j2", "s.entry[{{ slot }}] = s.setpoint[{{ setpoint }}]",
     "s.entry[{{ slot }}] = s.target[{{ setpoint }}]"),
    ("no clamping", "_setpoints.j2", "if (x < low)", "if (x < -1.0e30F)"),
    ("a ramp that rounds elsewhere", "_setpoints.j2", ": (from + step);", ": (aim - (d - step));"),
    ("drives back on in a stop phase", "_stop.j2", "if (!stopped) {", "if ((!stopped) || (!s.drives)) {"),
    ("a rule that beats anywhere", "_tick.j2", "if ((everyone == no_change) && (s.rule[",
     "if ((true) && (s.rule["),
    ("a held sequence that re-enters", "_tick.j2", "if (s.{{ sequence.phase }} != {{ sequence.to }}) {",
     "if (true) {"),
    ("a sequence held by an unmet hold looks at its guards", "_tick.j2", "} else if ({{ sequence.stay }}) {",
     "} else if (false) {"),
    ("a parameter at the end of its span refused", "_tick.j2", "(value <= high)", "(value < high)"),
    ("targets that miss a trimmed parameter", "_tick.j2", "    retarget(s);\n", ""),
]  # fmt: skip


@pytest.mark.parametrize(("name", "old", "new"), [f[1:] for f in FAULTS], ids=[f[0] for f in FAULTS])
def test_a_planted_fault_is_found(name: str, old: str, new: str, templates: Path, tmp_path: Path) -> None:
    plant(templates / "portable", name, old, new)
    assert differs(tmp_path)


def test_every_template_has_a_planted_fault() -> None:
    named = {fault[1] for fault in FAULTS}
    parts = {p.name for p in (render.templates_root() / "portable").glob("_*.j2")}
    elsewhere = {"_margins.j2", "_loops.j2", "_outputs.j2"}
    assert parts - named == elsewhere, "these have tests of their own, below and in test_planted_in_drives.py"


@pytest.mark.parametrize(
    ("name", "old", "new"),
    [
        ("_margins.j2", "least_margin = (m < least_margin) ? m : least_margin;", "least_margin = m;"),
        ("_margins.j2", "return (b < a) ? b : a;", "return a;"),
        ("_margins.j2", "m = t - size_of(e);", "m = t - e;"),
        ("_margins.j2", "{{ v }} - {{ low }}\n", "{{ low }} - {{ v }}\n"),
        (
            "_margins.j2",
            '{%- elif leaf.kind == "no_event" %}no',
            '{%- elif leaf.kind == "no_event" %}truth((in.events & {{ leaf.name }}) != 0U)',
        ),
    ],
)
def test_a_fault_in_a_margin_is_found(name: str, old: str, new: str, templates: Path, tmp_path: Path) -> None:
    plant(templates / "portable", name, old, new)
    assert differs(tmp_path, detail=True)


def test_a_fault_in_what_follows_a_setpoint_is_found(templates: Path, tmp_path: Path) -> None:
    path = templates / "portable" / "_follow.j2"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('aim{{ " + " ~ offset', 'aim{{ " - " ~ offset'), encoding="utf-8")
    assert differs(tmp_path, detail=True)
