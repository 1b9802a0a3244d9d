"""Faults planted into the templates of loops and outputs: random gaits must find every one of them."""

from pathlib import Path

import pytest
from support.planted import differs, one_ulp_up, plant
from support.random_drives import drives_plan

from sequencer.generate import render

I_OR_0 = '{{ "i" if loop_.integral is not none else "0.0F" }}'
D_OR_0 = '{{ "d" if loop_.slope is not none else "0.0F" }}'

# (what, as it is, as it must not be)
IN_LOOPS = [
    ("terms from the second on left out", "{% for term in loop_.terms[1:] %}",
     "{% for term in loop_.terms[:0] %}"),
    ("terms summed in another order", "{% for term in loop_.terms[1:] %}",
     "{% for term in loop_.terms[1:] | reverse %}"),
    ("outer loops summed in another order", "{% for one in loop_.inputs %}",
     "{% for one in loop_.inputs | reverse %}"),
    ("a gain in the rounding of its sum", "multiplied({{ one.gain }}, m.correction[{{ one.loop }}])",
     "static_cast<double>({{ one.gain }}) * static_cast<double>(m.correction[{{ one.loop }}])"),
    ("kp in the rounding of its sum", "const float p = multiplied({{ loop_.kp }}, e);",
     "const double p = static_cast<double>({{ loop_.kp }}) * static_cast<double>(e);"),
    ("ki in the rounding of its sum", "(i + multiplied({{ loop_.bi }}, e)) +",
     "static_cast<float>(static_cast<double>(i) + static_cast<double>({{ loop_.bi }}) * e) +"),
    ("back-calculation in the rounding of its sum", "+ multiplied({{ loop_.br }}, u - v)",
     "+ static_cast<double>({{ loop_.br }}) * static_cast<double>(u - v)"),
    ("the derivative in one rounding", "multiplied({{ loop_.ad }}, {{ d }}) -",
     "static_cast<double>({{ loop_.ad }}) * static_cast<double>({{ d }}) -"),
    ("p, i and d summed in another order", f"(p + {I_OR_0}) + {D_OR_0}", f"p + ({I_OR_0} + {D_OR_0})"),
    ("back-calculation before the error's part",
     "(i + multiplied({{ loop_.bi }}, e)) + multiplied({{ loop_.br }}, u - v)",
     "(i + multiplied({{ loop_.br }}, u - v)) + multiplied({{ loop_.bi }}, e)"),
    ("no back-calculation", "multiplied({{ loop_.br }}, u - v)", "0.0F"),
    ("a dead band that keeps its edge", "rest = e - band", "rest = e"),
    ("a dead band with one side", "} else if (e < -band) {", "} else if (e < -1.0e30F) {"),
    ("an authority beyond one", "if (a > 1.0F) {", "if (a > 1.1F) {"),
    ("an authority below zero", "if (a < 0.0F) {", "if (a < -0.1F) {"),
    ("a fade one tick long", "? multiplied({{ a }}, u)",
     "? multiplied({{ a }} - {{ loop_.fade_step }}, u)"),
    ("authority kept while drives are off", "{{ a }} = m.drives ? faded(", "{{ a }} = true ? faded("),
    ("a loop that acts while drives are off", "const bool acts = m.drives && (",
     "const bool acts = true && ("),
    ("a loop that always acts", "const bool acts = m.drives && (", "const bool acts = m.drives || ("),
    ("a fading loop that always acts", '"true" if loop_.always else', '"true" if true else'),
    ("an idle loop that does not start anew", "    u = 0.0F;\n    m.runs[which] = false;", "    u = 0.0F;"),
    ("an idle loop that keeps what it gave", "    u = 0.0F;\n    m.runs", "    m.runs"),
    ("freshness while idle forgotten", "    u = 0.0F;\n    m.runs[which] = false;",
     "    u = 0.0F;\n    m.runs[which] = m.news[which] = false;"),
    ("a run without a fresh sample", "} else if (turn && m.news[which]) {", "} else if (turn) {"),
    ("freshness used more than once", "    m.news[which] = false;\n    run = true;", "    run = true;"),
    ("a run out of turn", "] == 0U\"", "] <= 1U\""),
    ("a loop that goes on where its signal was lost", "bleed);\n    m.runs[which] = false;", "bleed);"),
    ("an outer loop's correction frozen while lost", "0.0F, bleed);",
     "0.0F, (bleed < largest) ? 0.0F : bleed);"),
    ("an outer loop's correction gone at once", "u = moved(u, 0.0F, bleed);", "u = 0.0F;"),
    ("an inner loop's output that lingers", '"largest"', '"0.25F"'),
    ("a bump at the start", "{% if loop_.bumpless %}limited(", "{% if false %}limited("),
    ("a derivative on the error", "y - {{ before }})", "{{ before }} + e)"),
    ("a derivative at the start", "float d = 0.0F;\n    if (m.runs",
     "float d = 0.0F;\n    if (true || m.runs"),
    ("a value beyond all measure kept in the sums", "good = (v >= -largest) && (v <= largest);",
     "good = true;"),
    ("an integral without a limit",
     "{{ i }} = limited(sum, -{{ loop_.integral_limit }}, {{ loop_.integral_limit }});", "{{ i }} = sum;"),
]  # fmt: skip

IN_OUTPUTS = [
    ("loops summed in another order", "{% for one in output.loops[1:] %}",
     "{% for one in output.loops[1:] | reverse %}"),
    ("smoothing that begins at zero", "if (m.supplied[supply]) {\n      s =", "if (true) {\n      s ="),
    ("smoothing in one rounding", "multiplied(weight, value - m.supply[supply])",
     "static_cast<double>(weight) * static_cast<double>(value - m.supply[supply])"),
    ("smoothing of a sample that is not fresh", "if ((m.seen[signal] & 4U) != 0U) {\n    const float value",
     "if (true) {\n    const float value"),
    ("a supply beyond all measure for ever", "if (!((s >= -largest) && (s <= largest))) {", "if (false) {"),
    ("a compensation that divides last", "multiplied(x, full_scale_at / m.supply[supply])",
     "multiplied(x, full_scale_at) / m.supply[supply]"),
    ("a compensation by a supply below zero", "(m.supply[supply] > 0.0F)", "(m.supply[supply] > -1.0e30F)"),
    ("nothing times a supply of all but nothing", "if (!((given <= 0.0F) || (given >= 0.0F))) {",
     "if (false) {"),
    ("the least supply taken as too little", "(m.supply[supply] < least)", "(m.supply[supply] <= least)"),
    ("a cut one millisecond late", "(now - m.under_since[watch]) >= ms", "(now - m.under_since[watch]) > ms"),
    ("a supply that is well again and cut all the same", "    m.under[watch] = false;",
     "    m.under[watch] = m.under[watch];"),
    ("a stall one millisecond late", "(now - m.stood_since[watch]) >= ms",
     "(now - m.stood_since[watch]) > ms"),
    ("a way that is just enough not taken for one", "(way >= moves)", "(way > moves)"),
    ("a way back not seen", "(way <= -moves)", "(way <= -1.0e30F)"),
    ("an output at the stall's bound taken as beyond", "((x > above)", "((x >= above)"),
    ("an output the other way not watched", "(x < -above)", "(x < -1.0e30F)"),
    ("a stall watched on a lost signal", " && is_known(m, static_cast<Signal>(signal))", ""),
    ("a stall that outlives the drives", "    {{ stalled }} = false;",
     "    {{ stalled }} = {{ stalled }} && true;"),
    ("stalled one tick late", "(state == OutputState::on) && {{ stalled }}", "false && {{ stalled }}"),
    ("an output that jumps", "x = moved(m.given[{{ output.name }}], x,", "x = moved(x, x,"),
    ("no limit", "    x = limited(x, {{ output.low }}, {{ output.high }});\n", ""),
    ("on while drives are off", "if (!m.drives) {\n    state = OutputState::off;",
     "if (false) {\n    state = OutputState::off;"),
    ("off before cut", "    state = OutputState::cut;",
     "    state = m.drives ? OutputState::cut : OutputState::off;"),
]  # fmt: skip

IN_ORDER = [
    ("loops and outputs before the walk", "  tick(static_cast<State&>(m), in);\n{% for loop_",
     "{% for loop_"),
    ("inner loops before outer ones", "{% for loop_ in g.loops %}", "{% for loop_ in g.loops | reverse %}"),
    ("only the first supply smoothed", "{% for output in g.outputs if output.supply %}",
     "{% for output in g.outputs if output.supply and not output.supply.slot %}"),
    ("only the first supply watched", "if output.supply and output.supply.least is not none %}",
     "if output.supply and output.supply.least is not none and not output.supply.least_slot %}"),
    ("what loops remember kept over a reset", "if (m.stage != 2U) {", "if (false) {"),
    ("a period one tick long", ">= {{ ticks }}", "> {{ ticks }}"),
    ("a limit one side of which is missing", "} else if (x > high) {", "} else if (x > 1.0e30F) {"),
    ("a ramp that rounds elsewhere", "x = from + step", "x = to - (way - step)"),
]  # fmt: skip

BY_TEMPLATE = {"_loops.j2": IN_LOOPS, "_outputs.j2": IN_OUTPUTS, "gait_loops.cpp.j2": IN_ORDER}
FAULTS = [(what, name, old, new) for name, faults in BY_TEMPLATE.items() for what, old, new in faults]


def test_without_a_planted_fault_there_is_no_difference(templates: Path, tmp_path: Path) -> None:
    assert not differs(tmp_path, drives_plan)


@pytest.mark.parametrize(("name", "old", "new"), [f[1:] for f in FAULTS], ids=[f[0] for f in FAULTS])
def test_a_planted_fault_is_found(name: str, old: str, new: str, templates: Path, tmp_path: Path) -> None:
    plant(templates / "portable", name, old, new)
    assert differs(tmp_path, drives_plan)


NUMBERS = {
    "_loops.j2": ["loop_.kp", "loop_.bi", "loop_.br", "loop_.ad", "loop_.bd", "loop_.low", "loop_.high",
                  "loop_.dead_band", "loop_.fade_step", "one.gain"],
    "_outputs.j2": ["output.supply.full_scale_at", "output.low", "output.high", "output.slew_step",
                    "output.stall.above", "output.stall.moves"],
    "gait_loops.cpp.j2": ["output.supply.smooth", "output.supply.least"],
}  # fmt: skip


@pytest.mark.parametrize(
    ("name", "number"), [(name, number) for name, numbers in NUMBERS.items() for number in numbers]
)
def test_a_number_that_is_off_by_one_unit_in_the_last_place_is_found(
    name: str, number: str, templates: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = templates / "portable" / name
    text = path.read_text(encoding="utf-8")
    assert f"{{{{ {number} }}}}" in text
    path.write_text(text.replace(f"{{{{ {number} }}}}", f"{{{{ {number} | off }}}}"), encoding="utf-8")
    monkeypatch.setitem(render.built_in("portable").filters, "off", one_ulp_up)
    assert differs(tmp_path, drives_plan)


def test_a_bleed_that_is_off_by_one_unit_in_the_last_place_is_found(templates: Path, tmp_path: Path) -> None:
    plant(
        templates / "portable",
        "_loops.j2",
        "u = moved(u, 0.0F, bleed);",
        "u = moved(u, 0.0F, bleed * 1.0000001F);",
    )
    assert differs(tmp_path, drives_plan)


def test_an_integral_limit_that_is_off_by_one_unit_in_the_last_place_is_found(
    templates: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = templates / "portable" / "_loops.j2"
    text = path.read_text(encoding="utf-8")
    number = "loop_.integral_limit"
    path.write_text(text.replace(f" {number} ", f" {number} | off "), encoding="utf-8")
    monkeypatch.setitem(
        render.built_in("portable").filters, "off", lambda x: x if "e38" in x else one_ulp_up(x)
    )
    assert differs(tmp_path, drives_plan)
