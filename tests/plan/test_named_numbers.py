"""Parameters of the machine, and its numbers that parameters give: what they become, what is wrong."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from support.gaits import SECTIONS, errors_in, gait, plan_of, spot

from sequencer.base.errors import FileErrors
from sequencer.plan.build import load_plan, parse_plan
from sequencer.plan.dump import as_data, meaning_hash
from sequencer.plan.tables import Plan

OF_MACHINE = """
  parameters:
    roll_zero: {unit: deg, value: 0.5, span: [-5, 5]}
    gain: {value: 0.7, span: [0, 2]}
    more: {value: 0.25, span: [0, 4]}
    most: {unit: deg, value: 3, span: [0, 8]}
    duty: {value: 0.6, span: [0, 1]}
    either: {value: 0, span: [-1, 1]}
    much: {value: 1, span: [0, 3]}
    huge: {value: 1, span: [0, 3e38]}
"""


def rig(loop: str = "kp: 0.5, output: motor", motor: str = "{}", tilt: str = "", more: str = "") -> str:
    """Write a gait whose machine has parameters, a loop l, an output, and a signal with `tilt` in it."""
    outputs = f"    motor: {motor}\n  loops:\n    l: {{setpoint: [lean], signal: left_tilt, {loop}}}\n{more}"
    signals = SECTIONS["signals"].replace("lost_after: 100 ms}", f"lost_after: 100 ms{tilt}}}", 1)
    return gait(signals=signals, outputs=outputs + OF_MACHINE)


def built(**parts: str) -> Plan:
    return parse_plan(rig(**parts))


def f32(x: float) -> float:
    return float(np.float32(x))


def named(plan: Plan, index: int | None) -> str:
    assert index is not None
    return plan.parameters[index].name


def test_parameters_of_the_machine_come_after_the_gaits() -> None:
    names = [parameter.name for parameter in built().parameters]
    assert names == [
        *("angle", "lift", "limit"),
        *("roll_zero", "gain", "more", "most", "duty", "either", "much", "huge"),
    ]


def test_a_gain_that_a_parameter_gives_leaves_what_it_is_multiplied_by() -> None:
    plan = built(loop="kp: gain, ki: more, kd: gain, filter: 30 ms, output: motor")
    loop = plan.loops[0]
    assert [named(plan, of) for of in (loop.kp_times, loop.bi_times, loop.bd_times)] == [
        "gain",
        "more",
        "gain",
    ]
    h = 0.02  # the signal's period, longer than the tick
    assert (loop.kp, loop.bi, loop.bd) == (1.0, f32(h), f32(1 / (0.03 + h)))
    assert loop.br == f32(h / (f32(0.7) / 0.25))  # kp / ki, by the values in the file
    assert loop.integrates and loop.differentiates


def test_a_named_ki_of_0_takes_a_second_to_come_back_from_a_limit() -> None:
    loop = built(loop="kp: 1, ki: either_way, output: motor".replace("either_way", "much")).loops[0]
    assert loop.br == f32(0.02 / 1.0)  # 1 / 1
    text = rig(loop="kp: gain, ki: zero_now, output: motor").replace(
        "    much:", "    zero_now: {value: 0, span: [0, 1]}\n    much:"
    )
    assert parse_plan(text).loops[0].br == f32(0.02 / 1.0)


def test_a_named_limit_is_in_the_unit_of_what_it_adds_to_and_bleeds_by_its_largest() -> None:
    more = "    in: {setpoint: [lean], signal: left_tilt, kp: 1, output: motor}\n"
    plan = built(loop="kp: 0.5, limit: most, adds_to: {in: 1}", more=more)
    loop = plan.loops[0]
    assert (loop.low, loop.high, named(plan, loop.limit_from)) == (-3.0, 3.0, "most")
    assert loop.bleed_step == f32(8 * 0.01)


def test_a_named_limit_of_a_loop_with_an_output_takes_the_place_of_its_span() -> None:
    plan = built(loop="kp: 0.5, limit: duty, output: motor")
    assert (plan.loops[0].high, named(plan, plan.loops[0].limit_from)) == (f32(0.6), "duty")


def test_a_named_zero_stays_out_of_the_bias() -> None:
    plan = built(tilt=", zero: roll_zero, scale: {counts: [0, 100], reads: [-10, 10]}")
    signal = plan.signals[0]
    assert (signal.bias, named(plan, signal.zero_from)) == (-10.0, "roll_zero")
    assert built(tilt=", zero: 0.5 deg").signals[0].bias == -0.5


def test_a_cap_is_a_number_or_a_parameter() -> None:
    assert (built(motor="{cap: 0.4}").outputs[0].cap, built().outputs[0].cap) == (f32(0.4), None)
    plan = built(motor="{cap: duty}")
    assert (plan.outputs[0].cap, named(plan, plan.outputs[0].cap_from)) == (f32(0.6), "duty")


WRONG = [
    ({"loop": "kp: gian, output: motor"}, "gian", "unknown-name", "gain"),
    ({"loop": "kp: most, output: motor"}, "most", "bad-unit", "here no unit is needed"),
    ({"loop": "kp: 1 deg, output: motor"}, "1 deg", "wrong-type", "a number without a unit, or the name"),
    ({"loop": "kp: 0.5, limit: most, output: motor"}, "most", "bad-unit", "here no unit is needed"),
    ({"loop": "kp: 0.5, limit: either, output: motor"}, "either", "out-of-span", "from 0 on"),
    ({"loop": "kp: -1, ki: gain, output: motor"}, "gain", "bad-drive", "pull against each other"),
    ({"loop": "kp: either, ki: more, output: motor"}, "more", "bad-drive", "signs can differ"),
    ({"loop": "kp: 1, kd: huge, output: motor"}, "huge", "bad-number", "too large for the controller"),
    ({"tilt": ", zero: gain"}, "gain", "bad-unit", "here deg is needed"),
    ({"motor": "{cap: 1.5}"}, "1.5", "out-of-span", "0 to 1"),
    ({"motor": "{cap: -0.5}"}, "-0.5", "out-of-span", "0 to 1"),
    ({"motor": "{cap: 0.5 deg}"}, "0.5 deg", "bad-unit", "without a unit"),
    ({"motor": "{cap: much}"}, "much", "out-of-span", "0 to 1"),
    ({"motor": "{cap: either}"}, "either", "out-of-span", "from 0 on"),
    ({"motor": "{cap: angle}"}, "angle", "bad-unit", "here no unit is needed"),
]


@pytest.mark.parametrize(("parts", "at", "code", "said"), WRONG)
def test_one_error_of_a_named_number_at_its_place(
    parts: dict[str, str], at: str, code: str, said: str
) -> None:
    text = rig(**parts)
    (found,) = errors_in(text)
    assert (f"{found.place.line}:{found.place.column}", found.code) == (spot(text, at), code)
    assert said in f"{found.message} {found.expected} {found.fix}"


def test_a_parameter_may_not_stand_in_both_files() -> None:
    text = rig().replace("    gain:", "    angle: {unit: deg, value: 1, span: [0, 2]}\n    gain:")
    (found,) = errors_in(text)
    assert (found.code, f"{found.place.line}:{found.place.column}") == (
        "duplicate-name",
        spot(text, "angle", 2),
    )
    assert "a parameter of the machine already" in found.message


def test_a_parameter_of_the_machine_may_not_have_the_name_of_a_signal() -> None:
    text = rig().replace("    gain:", "    knee: {value: 1, span: [0, 2]}\n    gain:")
    assert [finding.code for finding in errors_in(text)] == ["duplicate-name"]


def test_a_broken_parameter_of_the_machine_is_told_once() -> None:
    text = rig(motor="{cap: duty}").replace("duty: {value: 0.6", "duty: {value: 6")
    assert [finding.code for finding in errors_in(text)] == ["out-of-span"]
    text = rig(loop="kp: gain, output: motor").replace("gain: {value: 0.7", "gain: {vaule: 0.7")
    assert [finding.code for finding in errors_in(text)] == ["unknown-key"]


def test_walks_use_the_parameters_of_their_machine(tmp_path: Path) -> None:
    machine, walk = tmp_path / "a.machine.yaml", tmp_path / "a.gait.yaml"
    machine.write_text(
        "machine: a\ntick: 10 ms\nevents: [go]\nhelping: true\n"
        "parameters: {near: {unit: deg, value: 2, span: [0, 5]}}\n"
        "signals: {y: {unit: deg, span: [-9, 9], zero: near}}\n"
    )
    walk.write_text(
        "gait: a\nmachine: a.machine.yaml\nphases:\n"
        "  one: {rest: true, leave: [{to: two, when: {signal: y, above: near}}]}\n"
        "  two: {stop: 1}\n"
    )
    plan = load_plan(walk)
    assert (plan.helping, [p.place.file for p in plan.parameters]) == (True, [str(machine)])
    walk.write_text(walk.read_text() + "parameters: {near: {unit: deg, value: 2, span: [0, 5]}}\n")
    with pytest.raises(FileErrors) as error:
        load_plan(walk)
    (found,) = error.value.findings
    assert (found.code, found.place.file) == ("duplicate-name", str(walk))


# -- dump and hash -------------------------------------------------------------------------------------------


def test_what_is_named_changes_the_meaning() -> None:
    hashes = [built(loop=f"kp: {kp}, output: motor").sha for kp in ("1", "gain", "much")]
    assert len(set(hashes)) == 3
    plan = built()
    assert meaning_hash(replace(plan, helping=True)) != plan.sha
    row = as_data(built(motor="{cap: duty}"))["outputs"][0]
    assert (row["cap"], row["cap_from"]) == (f32(0.6), 7)


def test_plans_without_any_of_it_keep_their_hashes() -> None:
    """Recordings and generated code name the hash; that of this gait was taken before there was any of it."""
    assert plan_of().sha == "d4e818f3553b1a96"
