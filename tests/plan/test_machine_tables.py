"""What a machine's signals, remote, setpoints and pulses become in the plan."""

from fractions import Fraction

import numpy as np
import pytest
from support.gaits import codes, errors_in, gait, plan_of, spot

from sequencer.base.binary32 import f32
from sequencer.base.places import Place
from sequencer.plan.tables import Believe, Follower, Name, Rate, Remote, Setpoint, Signal

MORE = "    left_tilt: {unit: deg, span: [-45, 45]}\n    right_tilt: {unit: deg, span: [-45, 45]}\n"
KNEE = "    knee: {unit: mm, span: [0, 60]}\n"


def place(text: str, what: str) -> Place:
    line, column = spot(text, what).split(":")
    return Place("<text>", int(line), int(column))


def test_a_signal_with_everything() -> None:
    row = """    pot: {unit: mm, span: [-0.01, 6 cm], every: 10 ms, noise: 0.4 mm, zero: 0.5 mm,
          scale: {counts: [102, 861], reads: [0, 60]}, believe: {counts: [20, 1003]}, lost_after: 0.1 s}
"""
    text = gait(signals=MORE + KNEE + row)
    # folded in binary64, rounded once: gain = reads per count; bias = reads0 - counts0 * gain - zero
    gain = 60 / (861 - 102)
    bias = 0 - 102 * gain - 0.5
    assert plan_of(signals=MORE + KNEE + row).signals[3] == Signal(
        name="pot",
        unit="mm",
        gain=float(np.float32(gain)),
        bias=float(np.float32(bias)),
        low=float(np.float32(-0.01)),
        high=60.0,
        every_us=10_000,
        noise=float(np.float32(0.4)),
        lost_after_ms=100,
        believe=Believe("counts", 20.0, 1003.0),
        scaled=True,
        place=place(text, "pot"),
    )


def test_a_signal_with_nothing_but_unit_and_span() -> None:
    signal = plan_of(signals=MORE + KNEE).signals[0]
    assert signal == Signal(
        "left_tilt", "deg", 1.0, 0.0, -45.0, 45.0, None, 0.0, None, None, False, signal.place
    )


@pytest.mark.parametrize(
    ("block", "believe"),
    [
        ("{reads: [-40 deg, 40 deg]}", Believe("reads", -40.0, 40.0)),
        ("{reads: [-0.5 rad, 40]}", Believe("reads", f32(-0.5 * 180 / np.pi), 40.0)),
        ("{counts: [20, 1003 counts]}", Believe("counts", 20.0, 1003.0)),
    ],
)
def test_believe_by_counts_and_by_reads(block: str, believe: Believe) -> None:
    row = f"    pot: {{unit: deg, span: [-45, 45], believe: {block}}}\n"
    assert plan_of(signals=MORE + KNEE + row).signals[3].believe == believe


@pytest.mark.parametrize(("first", "last"), [(31, 977), (-32_768, 32_767), (8_000_000, 8_000_777)])
def test_the_scale_is_folded_in_binary64_and_rounded_once(first: int, last: int) -> None:
    scale = f"{{counts: [{first}, {last}], reads: [-44.5, 43.75]}}"
    row = f"    pot: {{unit: deg, span: [-45, 45], scale: {scale}, zero: 0.1 deg}}\n"
    signal = plan_of(signals=MORE + KNEE + row).signals[3]
    gain = (Fraction(43.75) - Fraction(-44.5)) / (last - first)
    bias = Fraction(-44.5) - first * gain - Fraction(0.1)
    # exact here, rounded to binary64 there; with a gain rounded to binary32 the bias would be another
    assert (signal.gain, signal.bias) == (float(np.float32(float(gain))), float(np.float32(float(bias))))


def test_a_bias_from_a_rounded_gain_would_be_found() -> None:
    gain = (43.75 + 44.5) / 65_535
    once, twice = (np.float32(-44.5 + 32_768 * g - 0.1) for g in (gain, float(np.float32(gain))))
    assert once != twice


def test_events_switches_and_the_remote() -> None:
    plan = plan_of()
    text = gait()
    assert plan.events == (Name("go", place(text, "go, halt]")), Name("halt", place(text, "halt]")))
    assert plan.switches == (Name("motors", place(text, "motors]")),)
    assert plan.remote == Remote((1,), (0,), 50_000, 500, place(text, "remote"))
    assert plan_of(inputs="  events: go\n", phases="  a: {rest: true}").events[0].name == "go"
    assert plan_of(inputs="  events: [go, halt]").remote is None


def test_a_setpoint_with_stance_offsets_and_a_rate() -> None:
    plan, text = plan_of(), gait()
    # step = rate * tick, in binary64, rounded once
    assert plan.setpoints[0] == Setpoint(
        "lean", "deg", -20.0, 20.0, 0.0, Rate(float(np.float32(16 * 10 / 1000)), None, 16.0),
        (Follower(0, 2.0), Follower(1, -2.0)), None, place(text, "lean"),
    )  # fmt: skip
    assert plan.setpoints[1] == Setpoint(
        "bend", "mm", 0.0, 55.0, 0.0, None, (Follower(3, 0.0),), None, place(text, "bend:")
    )


@pytest.mark.parametrize(
    ("said", "followers"),
    [
        ("left_tilt", (Follower(0, 0.0),)),
        ("[left_tilt, right_tilt]", (Follower(0, 0.0), Follower(1, 0.0))),
        ("{right_tilt: 1 deg}", (Follower(1, 1.0),)),
        ("{right_tilt: -0 deg, left_tilt: 0.5 rad}", (Follower(1, 0.0), Follower(0, f32(90 / np.pi)))),
    ],
)
def test_forms_of_followed_by(said: str, followers: tuple[Follower, ...]) -> None:
    row = f"    j: {{unit: deg, span: [-9, 9], start: 0 deg, followed_by: {said}}}\n"
    assert plan_of(setpoints=row).setpoints[0].followers == followers


@pytest.mark.parametrize(
    ("unit", "rate", "per_second"),
    [
        ("deg", "16 deg/s", 16.0),
        ("deg", "960 deg/min", 16.0),
        ("deg", "1 rad/s", 180 / np.pi),
        ("deg/s", "4 deg/s2", 4.0),
        ("mm/min", "60 mm/min2", 1.0),
        ("mm/min", "1 mm/s2", 60.0),
        ("rpm", "6 deg/s2", 1.0),
        ('""', "0.5 /s", 0.5),
        ('""', "0.5", 0.5),
        ('"%"', "10 %/s", 10.0),
    ],
)
def test_a_rate_is_in_the_setpoints_unit_per_second(unit: str, rate: str, per_second: float) -> None:
    bare = unit.strip('"')
    row = f"    j: {{unit: {unit}, span: [-9, 9], start: 0 {bare}, rate: {rate}}}\n".replace("0 ,", "0,")
    found = plan_of(setpoints=row).setpoints[0].rate
    assert found is not None
    assert found.per_second == pytest.approx(per_second, rel=1e-15)
    assert found.step == float(np.float32(found.per_second * 10 / 1000))


def test_a_rate_times_a_parameter() -> None:
    parameters = "  speed: {value: 1, span: [0.5, 2]}"
    row = "    j: {unit: deg, span: [-9, 9], start: 0 deg, rate: {of: 16 deg/s, times: speed}}\n"
    plan = plan_of(setpoints=row, parameters=parameters)
    assert plan.setpoints[0].rate == Rate(f32(0.16), 0, 16.0)


def test_pulses_are_the_outputs_that_say_so() -> None:
    motor = "    motor: {span: [-1, 1], full_scale_at: 12 V, supply: battery, least_supply: 10 V}\n"
    outputs = motor + "    horn: {pulse: true}"
    signals = MORE + KNEE + "    battery: {unit: V, span: [9, 12.6]}"
    plan = plan_of(outputs=outputs, signals=signals)
    assert [pulse.name for pulse in plan.pulses] == ["horn"]


# section, or one row of it; where the error must be told; its code
BAD = [
    ("signals", "    a: {unit: deg, span: [3, 3]}", "[3", "out-of-span"),
    ("signals", "    a: {unit: deg, span: [0, 1e39]}", "[0, 1e39", "bad-number"),
    ("signal", "noise: -1 deg", "-1 deg", "out-of-span"),
    ("signal", "noise: 1e39 deg", "1e39", "bad-number"),
    ("signal", "zero: 5", "5}", "bad-unit"),
    ("signal", "every: 0 us", "0 us", "out-of-span"),
    ("signal", "lost_after: 0.5 ms", "0.5 ms", "out-of-span"),
    ("signal", "lost_after: 2147483648 ms", "2147483648", "out-of-span"),
    ("signal", "lost_after: 1e305 h", "1e305", "bad-number"),
    ("signal", "scale: {counts: [5, 5], reads: [0, 9]}", "{counts", "out-of-span"),
    ("signal", "scale: {counts: [0, 1e30], reads: [0, 1e-20]}", "{counts", "bad-number"),
    ("signal", "scale: {counts: [0, 1e-30], reads: [0, 1e20]}", "{counts", "bad-number"),
    ("signal", "believe: {}", "{}", "missing-key"),
    ("signal", "believe: {counts: [0, 1], reads: [0, 1]}", "{counts", "missing-key"),
    ("setpoints", "    a: {unit: deg, span: [0, 9], start: 10 deg}", "10 deg", "out-of-span"),
    ("setpoints", "    a: {unit: deg, span: [0, 9], start: 1}", "1}", "bad-unit"),
    ("setpoint", "rate: 0 deg/s", "0 deg/s", "out-of-span"),
    ("setpoint", "rate: 5 deg", "5 deg}", "bad-unit"),
    # half a step between two binary32 numbers near 1000 is 2^-15; 10 ms at 0.003 deg/s is just below
    ("setpoints", "    a: {unit: m, span: [0, 1e3], start: 0 m, rate: 0.003 m/s}", "0.003", "out-of-span"),
    ("setpoint", "rate: 1e-60 deg/s", "1e-60", "out-of-span"),
    ("setpoint", "rate: {of: 5 deg/s, times: gone}", "{of", "unknown-name"),
    ("setpoint", "rate: {of: 5 deg/s, times: angle}", "{of", "bad-unit"),
    ("setpoint", "followed_by: knee", "knee}\n", "bad-unit"),
    ("setpoint", "followed_by: {body: 1 mm}", "1 mm}}", "bad-unit"),
    ("setpoints", "    body: {unit: mm, span: [0, 9], start: 0 mm}", "body: {unit: mm", "duplicate-name"),
    ("setpoints", "    remote: {unit: mm, span: [0, 9], start: 0 mm}", "remote: {unit", "reserved-name"),
    ("inputs", "  events: [go, halt, go]", "go]", "duplicate-name"),
    ("inputs", "  events: [go, halt, bend]", "bend:", "duplicate-name"),
    ("inputs", "  events: [go, halt]\n  remote: {carries: [go, haltt]}", "haltt", "unknown-name"),
    ("inputs", "  events: [go, halt]\n  remote: {carries: [go, go]}", "go]}", "duplicate-name"),
    ("inputs", "  events: [go, halt, " + ", ".join(f"e{i}" for i in range(31)) + "]", "[go", "too-large"),
]  # fmt: skip


@pytest.mark.parametrize(("section", "row", "at", "code"), BAD)
def test_one_error_at_its_place(section: str, row: str, at: str, code: str) -> None:
    body = "    body: {unit: deg, span: [-60, 60]}\n"
    sections = {
        "signal": {"signals": MORE + body + KNEE + f"    a: {{unit: deg, span: [0, 9], {row}}}"},
        "signals": {"signals": MORE + body + KNEE + row},
        "setpoint": {"setpoints": f"    a: {{unit: deg, span: [0, 9], start: 0 deg, {row}}}"},
    }
    text = gait(**sections.get(section, {section: row}))
    assert [(f"{f.place.line}:{f.place.column}", f.code) for f in errors_in(text)] == [(spot(text, at), code)]


def test_a_step_that_just_moves_the_largest_value_is_allowed() -> None:
    # 1000 lies between 2^9 and 2^10, where binary32 numbers are 2^-14 apart (IEEE 754); half of it is 2^-15
    for step, expected in ((2**-15 * 1.01, []), (2**-15, ["out-of-span"]), (2**-15 * 0.99, ["out-of-span"])):
        row = f"    a: {{unit: deg, span: [0, 1000], start: 0 deg, rate: {step * 100!r} deg/s}}"
        assert codes(setpoints=row) == expected


@pytest.mark.parametrize("tick", ["0 ms", "1.5 ms", "10", "10 mm", "-5 ms", "2147483648 ms", "~"])
def test_the_tick_is_whole_milliseconds(tick: str) -> None:
    text = gait().replace("tick: 10 ms", f"tick: {tick}")
    (finding,) = errors_in(text)
    assert (finding.place.line, finding.place.column) == (3, 9)


def test_a_tick_may_be_said_in_seconds() -> None:
    from sequencer.plan.build import parse_plan

    assert parse_plan(gait().replace("tick: 10 ms", "tick: 0.02 s")).tick_ms == 20


def test_minus_zero_becomes_plus_zero() -> None:
    import math

    plan = plan_of(signals=MORE + "    knee: {unit: mm, span: [-0, 60], zero: 0 mm, noise: -0 mm}\n")
    signal = plan.signals[2]
    assert [math.copysign(1, x) for x in (signal.low, signal.bias, signal.noise)] == [1, 1, 1]
