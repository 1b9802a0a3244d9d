"""`arithmetic: int16`: which step each number has, what it becomes, and what does not work in whole steps."""

import re
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.gaits import SECTIONS, errors_in, gait, leaving, plan_of, spot
from support.plans import signal

from sequencer.base.binary32 import f32, load_f32
from sequencer.plan.dump import as_data
from sequencer.plan.fixed_tables import MOST_STEPS
from sequencer.plan.scales import fitted, raw_ends
from sequencer.plan.tables import Plan
from sequencer.plan.whole_steps import decimal, in_steps, of_steps, steps_of

INT16 = "\n  arithmetic: int16\n  events: [go, halt]\n  switches: [motors]\n"
SIGNALS = """
    left_tilt: {unit: deg, span: [-45, 45], resolution: 0.01 deg}
    right_tilt: {unit: deg, span: [-45, 45]}
    body: {unit: deg, span: [-60, 60]}
    knee: {unit: mm, span: [0, 60], scale: {counts: [102, 861], reads: [0, 60]}, zero: 0.5 mm}
"""
ROW = "    left_tilt: {unit: deg, span: [-45, 45], resolution: 0.01 deg}"


def whole(**sections: str) -> Plan:
    return plan_of(**{"inputs": INT16, "signals": SIGNALS, **sections})


def problem(**sections: str) -> tuple[str, str, str]:
    """Give message, expectation and place of the one error."""
    text = gait(**{"inputs": INT16, "signals": SIGNALS, **sections})
    (finding,) = errors_in(text)
    assert finding.code == "bad-resolution"
    return finding.message, finding.expected, f"{finding.place.line}:{finding.place.column}"


def sizes(plan: Plan) -> dict[str, float]:
    assert plan.fixed is not None
    rows = (
        *zip(plan.signals, plan.fixed.signals, strict=True),
        *zip(plan.setpoints, plan.fixed.setpoints, strict=True),
        *zip(plan.parameters, plan.fixed.parameters, strict=True),
    )
    return {row.name: size for row, size in rows}


# -- resolutions -------------------------------------------------------------------------------------------


def test_without_the_key_nothing_is_in_steps() -> None:
    plan = plan_of(signals=SIGNALS)
    assert plan.fixed is None
    assert plan.sha == plan_of(signals=SIGNALS, inputs=SECTIONS["inputs"] + "  arithmetic: binary32\n").sha
    assert as_data(plan)["fixed"] is None


def test_what_meets_in_a_comparison_has_one_resolution() -> None:
    found = sizes(whole(phases=leaving("{signal: left_tilt, above: limit}")))
    hundredth = load_f32(0.01)
    # lean is followed by both tilts, limit is compared with one of them
    assert [found[n] for n in ("left_tilt", "right_tilt", "lean", "limit")] == [hundredth] * 4
    # the largest numbers of the others are 60 and 20: 1, 2 or 5 times a power of ten, at most 16,000 steps
    assert [found[n] for n in ("body", "knee", "bend", "angle")] == [
        load_f32(x) for x in (0.005, 0.005, 0.005, 0.002)
    ]


def test_what_is_compared_with_a_counter_counts_in_ones() -> None:
    rows = "  angle: {unit: deg, value: 15, span: [8, 20]}\n  most: {unit: '', value: 3, span: [1, 9]}\n"
    plan = whole(parameters=rows, phases=leaving("{counter: steps, at_least: most}"))
    assert sizes(plan)["most"] == 1.0


def test_two_resolutions_for_what_is_compared_are_refused_at_the_second() -> None:
    signals = SIGNALS.replace("right_tilt: {unit: deg, span: [-45, 45]}",
                              "right_tilt: {unit: deg, span: [-45, 45], resolution: 0.02 deg}")  # fmt: skip
    message, expected, at = problem(signals=signals)
    assert message == "right_tilt has steps of 0.02 deg, left_tilt of 0.01 deg, and the two are compared"
    assert expected == "the same resolution for both"
    assert at == spot(gait(inputs=INT16, signals=signals), "0.02 deg")


def test_a_resolution_may_be_given_in_another_unit_of_the_same_kind() -> None:
    assert sizes(whole(signals=SIGNALS.replace("0.01 deg", "0.00005 turn")))["lean"] == load_f32(0.018)


@pytest.mark.parametrize("wrong", ["0 deg", "-0.01 deg", "0.01 mm", "nothing"])
@pytest.mark.parametrize("arithmetic", ["int16", "binary32"])
def test_a_resolution_that_is_none_is_refused_in_either_arithmetic(wrong: str, arithmetic: str) -> None:
    signals = SIGNALS.replace("0.01 deg", wrong)
    text = gait(inputs=INT16.replace("int16", arithmetic), signals=signals)
    (finding,) = errors_in(text)
    assert f"{finding.place.line}:{finding.place.column}" == spot(text, wrong)


# -- numbers -----------------------------------------------------------------------------------------------


def test_numbers_become_whole_steps_and_the_plan_says_what_is_in_force() -> None:
    plan = whole(phases=leaving("{signal: left_tilt, above: 8.0051 deg, release: 7.994 deg}"))
    steps = in_steps(plan)
    (leaf,) = (plan.leaves[i] for i in plan.guards[1].leaves)
    (counted,) = (steps.leaves[i] for i in plan.guards[1].leaves)
    assert (leaf.low.plus, leaf.release_low.plus) == (f32(8.01), f32(7.99))  # type: ignore[union-attr]
    assert (counted.low.plus, counted.release_low.plus) == (801.0, 799.0)  # type: ignore[union-attr]
    lean, bend = steps.setpoints
    assert (lean.low, lean.high, lean.start, lean.rate.step) == (-2000.0, 2000.0, 0.0, 16.0)  # type: ignore[union-attr]
    assert [follower.offset for follower in lean.followers] == [200.0, -200.0]
    assert bend.rate is None and bend.high == 11000.0
    assert steps.parameters[2].value == 9 / Fraction("0.001")  # limit meets nothing here


def test_ties_of_decimals_as_they_are_written_go_away_from_zero() -> None:
    hundredth = load_f32(0.01)
    assert [steps_of(load_f32(x), hundredth) for x in (0.005, -0.005, 0.015, 0.0149, 2.675, -2.675)] == [
        1, -1, 2, 1, 268, -268,
    ]  # fmt: skip


@given(st.integers(-MOST_STEPS, MOST_STEPS), st.sampled_from([0.001, 0.002, 0.005, 0.01, 0.25, 1 / 64, 3.0]))
def test_a_number_of_steps_comes_back_from_its_unit(steps: int, size: float) -> None:
    resolution = load_f32(size)
    assert steps_of(of_steps(steps, resolution), resolution) == steps


def test_the_hash_tells_resolutions_apart() -> None:
    shas = {whole(signals=SIGNALS.replace("0.01", x)).sha for x in ("0.01", "0.02")}
    assert len(shas | {plan_of(signals=SIGNALS).sha}) == 3


# -- scales ------------------------------------------------------------------------------------------------


@given(
    gain=st.floats(1e-3, 20.0).flatmap(lambda g: st.sampled_from([g, -g])),
    bias=st.floats(-100.0, 100.0),
    size=st.sampled_from([0.005, 0.01, 0.02, 0.1]),
)
def test_a_scale_is_off_by_less_than_half_a_step_before_it_is_rounded(
    gain: float, bias: float, size: float
) -> None:
    of = signal("pot", gain=f32(gain), bias=f32(bias), low=-60.0, high=90.0, scaled=True)
    found, resolution = fitted(of, load_f32(size)), load_f32(size)
    scale = found.scale
    assert -(2**31) <= scale.multiplier * -32768 + scale.addend < 2**31
    assert -(2**31) <= scale.multiplier * 32767 + scale.addend < 2**31
    low, high = raw_ends(of)
    if found.error >= 0.5 or max(abs(low), abs(high)) > MOST_STEPS:
        return
    for raw in {int(low), int(high), int((low + high) / 2), int(low) + 1}:
        exact = (Fraction(of.gain) * raw + Fraction(of.bias)) / decimal(resolution)
        whole_steps = (raw * scale.multiplier + scale.addend) >> scale.shift
        assert abs(whole_steps - exact) < 1
        # nothing to complain of where the exact value is well inside a step
        doubt = Fraction(found.error) + Fraction(2, 2**scale.shift)
        if abs(exact - round(exact)) < Fraction(1, 2) - doubt:
            assert whole_steps == round(exact)


def test_the_knees_scale_by_hand() -> None:
    """Gain 60 mm / 759 counts in steps of 0.005 mm: 15.8103 steps a count, times 2^11 is 32379.4."""
    plan = whole()
    assert plan.fixed is not None
    scale = plan.fixed.scales[3]
    assert (scale.multiplier, scale.shift) == (32379, 11)
    assert scale.addend == round((0 - 102 * 60 / 759 - 0.5) / 0.005 * 2048) + 1024
    assert [(raw * scale.multiplier + scale.addend) >> scale.shift for raw in (102, 861)] == [-100, 11900]


# -- what does not work ------------------------------------------------------------------------------------


def test_a_span_that_does_not_fit_names_the_finest_resolution_that_does() -> None:
    message, expected, at = problem(signals=SIGNALS.replace("0.01", "0.001"))
    assert message == "left_tilt comes to 45 deg, 45000 steps of 0.001 deg; int16 holds 32766"
    assert expected == "a resolution of 0.002 deg or coarser"
    assert at == spot(gait(inputs=INT16, signals=SIGNALS.replace("0.01", "0.001")), "0.001 deg")


CASES = {
    "a tolerance that vanishes": (
        {"phases": leaving("{at_target: lean, tolerance: 0.004 deg}")},
        "a tolerance of 0.004 deg is less than half a step",
        "a resolution of 0.005 deg or finer",
    ),
    "a release that is no step away": (
        {"phases": leaving("{signal: left_tilt, above: 8 deg, release: 7.996 deg}")},
        "the release at 7.996 deg is not a step away from 8",
        "a resolution of 0.002 deg or finer",
    ),
    "a ramp that gets slower": (
        {"signals": SIGNALS.replace("0.01", "0.09")},
        "lean moves by 0.16 deg in a tick: 1.78 steps of 0.09 deg, which is not near a whole number",
        "a resolution of 0.01 deg or finer",
    ),
    "a threshold beyond 16 bits": (
        {"phases": leaving("{signal: left_tilt, below: 400 deg}")},
        "this, measured as left_tilt is, comes to 400 deg, 40000 steps of 0.01 deg; int16 holds 32766",
        "a resolution of 0.02 deg or coarser",
    ),
    "a sum with a parameter beyond 16 bits": (
        {"phases": leaving("{signal: left_tilt, below: {of: limit, plus: 320 deg}}")},
        "this, measured as left_tilt is, comes to 332 deg, 33200 steps of 0.01 deg; int16 holds 32766",
        "a resolution of 0.02 deg or coarser",
    ),
    "a target with its tolerance beyond 16 bits": (
        {"phases": leaving("{at_target: lean, tolerance: 310 deg}")},
        "a target with its tolerance, measured as lean is, comes to 332 deg, 33200 steps of 0.01 deg; "
        "int16 holds 32766",
        "a resolution of 0.02 deg or coarser",
    ),
    "half a count": (
        {"phases": leaving("{counter: steps, at_most: 2.5}")},
        "a counter never stands at 2.5",
        "a whole number",
    ),
    "counts beyond 16 bits": (
        {"signals": SIGNALS.replace("counts: [102, 861]", "counts: [0, 65535]")},
        "knee reads 546 to 66081 counts within its span; int16 holds 32767",
        "counts from -32767 to 32767",
    ),
}


@pytest.mark.parametrize(("sections", "message", "expected"), CASES.values(), ids=CASES)
def test_what_does_not_work_in_steps_is_told(sections: dict[str, str], message: str, expected: str) -> None:
    assert problem(**sections)[:2] == (message, expected)


def test_a_rate_times_a_parameter_is_refused() -> None:
    setpoints = """
    lean: {unit: deg, span: [-20, 20], rate: {of: 16 deg/s, times: speed}, start: 0 deg}
"""
    parameters = "  speed: {unit: '', value: 1, span: [0.5, 2]}\n"
    phases = "  still: {rest: true, leave: [{to: safe, when: {event: go}}]}\n  safe: {stop: 1}\n"
    message, expected, _ = problem(setpoints=setpoints, parameters=parameters, phases=phases)
    assert message == "the rate of lean is multiplied by a parameter, which int16 cannot do"
    assert "binary32" in expected


def test_a_gain_that_a_parameter_gives_must_not_change_by_rounding() -> None:
    more = """
  loops:
    hip: {setpoint: [lean], signal: left_tilt, kp: gain, output: motor}
"""
    parameters = "  gain: {unit: '', value: 0.01, span: [0, 1000]}\n"
    phases = "  still: {rest: true, leave: [{to: safe, when: {event: go}}]}\n  safe: {stop: 1}\n"
    outputs = "\n    motor: {}\n" + more
    message, expected, _ = problem(outputs=outputs, parameters=parameters, phases=phases)
    assert message == "gain is 0.10 steps of 0.1"
    assert "a span that reaches not so far" in expected
    assert whole(outputs=outputs, parameters=parameters.replace("1000", "1"), phases=phases).fixed is not None


def test_what_was_told_to_be_mended_can_be_mended() -> None:
    """The resolution that an error names is one that works."""
    for sections, _, expected in CASES.values():
        named = re.match(r"a resolution of ([\d.]+) deg", expected)
        if named:
            signals = sections.get("signals", SIGNALS)
            better = re.sub(r"resolution: [\d.]+", f"resolution: {named[1]}", signals)
            plan = whole(**{**sections, "signals": better})
            assert plan.fixed is not None
