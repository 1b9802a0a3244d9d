"""What loops and outputs become in the plan, and what is wrong with them."""

import numpy as np
import pytest
from support.gaits import SECTIONS, codes, errors_in, gait, plan_of, spot

from sequencer.plan.tables import ActsIn, Adds, Loop, Plan, Stall, Supply, Term

BATTERY = SECTIONS["signals"] + "    battery: {unit: V, span: [9, 12.6], every: 100 ms}\n"
SLOW = SECTIONS["signals"] + "    slow: {unit: deg, span: [-9, 9], every: 20 ms}\n"


def outputs(*rows: str, motor: str = "{}", loops: str = "") -> str:
    """Write the outputs, one of them `motor`, then the loops."""
    lines = ["    horn: {pulse: true}", f"    motor: {motor}", *(f"    {row}" for row in rows)]
    return "\n".join([*lines, "  loops:" if loops else "", loops]) + "\n"


def one_loop(text: str, signal: str = "left_tilt") -> str:
    return outputs(loops=f"    l: {{setpoint: [lean], signal: {signal}, {text}}}")


def loop(text: str, signal: str = "left_tilt") -> Loop:
    return plan_of(outputs=one_loop(text, signal), signals=SLOW).loops[0]


def f32(x: float) -> float:
    return float(np.float32(x))


CASCADE = """
    hip: {setpoint: [lean], signal: left_tilt, kp: 0.5, output: motor}
    tilt: {setpoint: [lean, -2 deg], signal: left_tilt, kp: 0.1, ki: 0.25, limit: 4 deg, adds_to: {hip: 0.5}}
    balance: {setpoint: [0 deg], signal: body, kp: -0.3, limit: 0.1 rad, adds_to: {tilt: 1, hip: -1}}
"""


# -- loops -------------------------------------------------------------------------------------------------


def cascade() -> Plan:
    return plan_of(outputs=outputs(loops=CASCADE))


def test_outer_loops_stand_before_those_they_add_to() -> None:
    plan = cascade()
    assert [each.name for each in plan.loops] == ["balance", "tilt", "hip"]
    assert [each.inputs for each in plan.loops] == [(), (Adds(0, 1.0),), (Adds(0, -1.0), Adds(1, 0.5))]
    assert [each.output for each in plan.loops] == [None, None, 0]
    assert plan.outputs[0].loops == (2,)


def test_loops_that_need_no_order_keep_that_of_the_file() -> None:
    rows = "".join(
        f"    {name}: {{setpoint: [lean], signal: left_tilt, kp: 1, {to}}}\n"
        for name, to in (
            ("a", "output: motor"),
            ("b", "output: motor"),
            ("c", "limit: 1 deg, adds_to: {b: 1}"),
            ("d", "output: motor"),
        )
    )
    assert [each.name for each in plan_of(outputs=outputs(loops=rows)).loops] == ["a", "c", "b", "d"]


def test_the_reference_is_a_sum_of_setpoints_and_quantities_in_the_signals_unit() -> None:
    plan = cascade()
    assert plan.loops[1].terms == (Term(0, 0.0), Term(None, -2.0))
    assert plan.loops[0].terms == (Term(None, 0.0),)
    assert [each.unit for each in plan.loops] == ["deg", "deg", "deg"]


def test_limits_are_in_the_unit_of_what_is_added_to_and_an_inner_loop_takes_its_outputs_span() -> None:
    plan = plan_of(outputs=outputs(motor="{span: [-0.5, 1]}", loops=CASCADE))
    degrees = f32(0.1 * 180 / np.pi)
    assert [(each.low, each.high) for each in plan.loops] == [(-degrees, degrees), (-4.0, 4.0), (-0.5, 1.0)]
    assert (loop("kp: 1, output: motor, limit: 0.25").low, loop("kp: 1, output: motor").high) == (-0.25, 1.0)


def test_gains_are_folded_in_binary64_and_rounded_once() -> None:
    # h = 20 ms: the signal's period is longer than the tick of 10 ms
    got = loop("kp: 0.3, ki: 0.7, kd: 0.11, filter: 50 ms, tracking: 0.4 s, output: motor")
    h, tf, tt = 0.02, 0.05, 0.4
    expected = (0.3, 0.7 * h, h / tt, tf / (tf + h), 0.11 / (tf + h))
    assert (got.kp, got.bi, got.br, got.ad, got.bd) == tuple(map(f32, expected))


@pytest.mark.parametrize(
    ("text", "signal", "h"),
    [
        ("", "left_tilt", 0.02),  # the signal's own period
        ("every: 30 ms", "left_tilt", 0.03),
        ("every: 10 ms", "left_tilt", 0.02),
    ],
)
def test_the_period_is_every_or_that_of_the_signal_if_that_is_longer(
    text: str, signal: str, h: float
) -> None:
    got = loop(f"kp: 0, ki: 1, output: motor{', ' if text else ''}{text}", signal)
    assert (got.bi, got.br) == (f32(h), f32(h))  # without kp the tracking time is 1 s
    assert got.every_ticks == (3 if "30" in text else 1)


def test_the_tracking_time_is_kp_over_ki_but_not_below_the_period() -> None:
    assert loop("kp: -0.5, ki: -0.25, output: motor").br == f32(0.02 / 2)
    assert loop("kp: 0.001, ki: 10, output: motor").br == 1.0


def test_what_a_loop_has_if_nothing_is_said() -> None:
    got = loop("kp: 1, output: motor")
    assert (got.dead_band, got.bumpless, got.every_ticks, got.fade_step, got.acts_in) == (
        0.0, False, 1, None, None,
    )  # fmt: skip
    assert got.integral_limit == np.finfo(np.float32).max
    assert cascade().loops[0].bleed_step == f32(cascade().loops[0].high * 0.01)  # the limit in 1 s


def test_fade_and_bleed_become_steps_of_a_tick() -> None:
    rows = CASCADE.replace("limit: 4 deg,", "limit: 4 deg, fade: 0.3 s, bleed: 1.5 deg/s, start: bumpless,")
    got = plan_of(outputs=outputs(loops=rows.replace("kp: 0.5,", "kp: 0.5, dead_band: 0.01 rad,"))).loops
    assert (got[1].fade_step, got[1].bleed_step, got[1].bumpless) == (f32(10 / 300), f32(0.015), True)
    assert got[2].dead_band == f32(0.01 * 180 / np.pi)


def test_a_gait_says_where_a_loop_acts() -> None:
    more = "loops: {tilt: {acts_in: [work, safe, work]}, hip: {acts_in: still}, balance: {acts_in: []}}"
    got = plan_of(outputs=outputs(loops=CASCADE), more=more).loops
    assert [each.acts_in for each in got] == [(), (ActsIn(0, (1, 2)),), (ActsIn(0, (0,)),)]


SEQUENCES = """sequences:
  one: {phases: {a: {rest: true}, b: {rest: true}}}
  two: {phases: {a: {rest: true}, b: {stop: 1}}}
"""


def with_sequences(acts_in: str) -> str:
    text = gait(outputs=outputs(loops=CASCADE), more=f"{SEQUENCES}loops: {{hip: {{acts_in: {acts_in}}}}}")
    first, last = text.index("phases:\n  still"), text.index("sequences:")
    return text[:first] + text[last:]


def test_with_several_sequences_their_names_stand_before_the_phases() -> None:
    from sequencer.plan.build import parse_plan

    plan = parse_plan(with_sequences("{two: b, one: [a, b]}"))
    assert plan.loops[2].acts_in == (ActsIn(0, (0, 1)), ActsIn(1, (1,)))


@pytest.mark.parametrize(
    ("acts_in", "at", "code"),
    [
        ("[a]", "[a]}", "wrong-type"),
        ("{three: a}", "three", "unknown-name"),
        ("{one: [c]}", "c]", "unknown-name"),
    ],
)
def test_what_is_wrong_with_acts_in(acts_in: str, at: str, code: str) -> None:
    text = with_sequences(acts_in)
    assert [(f"{f.place.line}:{f.place.column}", f.code) for f in errors_in(text)] == [(spot(text, at), code)]


def test_a_loop_that_the_machine_does_not_have_cannot_act() -> None:
    text = gait(outputs=outputs(loops=CASCADE), more="loops: {hop: {acts_in: still}}")
    (finding,) = errors_in(text)
    assert (finding.code, finding.fix) == ("unknown-name", "did you mean hip?")


# -- outputs -----------------------------------------------------------------------------------------------


def test_an_output_with_everything() -> None:
    motor = """{span: [-0.5, 0.9], slew: 4 /s, full_scale_at: 12 V, supply: battery, least_supply: 10000 mV,
      under_for: 0.2 s, smooth: 300 ms, stall: {above: 0.8, signal: body, moves: 0.1 rad, for: 2 s},
      holds_unpowered: true}"""
    (got,) = plan_of(outputs=outputs(motor=motor), signals=BATTERY).outputs
    assert (got.low, got.high, got.slew_step, got.holds_unpowered) == (-0.5, f32(0.9), f32(0.04), True)
    # backward Euler, h = 100 ms: h / (smooth + h)
    assert got.supply == Supply(4, 12.0, f32(0.1 / 0.4), 10.0, 200)
    assert got.stall == Stall(f32(0.8), 2, f32(0.1 * 180 / np.pi), 2000)


def test_an_output_with_nothing() -> None:
    (got,) = plan_of(outputs=outputs()).outputs
    assert (got.low, got.high, got.slew_step, got.supply, got.stall, got.holds_unpowered, got.loops) == (
        -1.0, 1.0, None, None, None, None, (),
    )  # fmt: skip


def test_smoothing_and_patience_with_the_supply_have_defaults() -> None:
    motor = "{full_scale_at: 12 V, supply: battery, least_supply: 10 V}"
    (got,) = plan_of(outputs=outputs(motor=motor), signals=BATTERY).outputs
    assert got.supply == Supply(4, 12.0, f32(0.1 / 0.6), 10.0, 500)


def test_loops_and_outputs_are_part_of_what_a_plan_means() -> None:
    shas = {
        plan_of(outputs=text).sha
        for text in (outputs(), outputs(loops=CASCADE), outputs(loops=CASCADE.replace("kp: 0.5", "kp: 0.6")))
    }
    assert len(shas) == 3


# -- errors ------------------------------------------------------------------------------------------------

# what stands in the one loop, or in `motor`; where the error must be told; its code
BAD_LOOPS = [
    ("kp: 1, output: m", "m}", "unknown-name"),
    ("kp: 1, output: horn", "horn}\n", "unknown-name"),
    ("kp: 1, limit: 1 deg, adds_to: {k: 1}", "1}}\n", "unknown-name"),
    ("kp: 1", "l: {set", "missing-key"),
    ("output: motor", "l: {set", "missing-key"),
    ("kp: 1, adds_to: {}, output: motor", "{}, out", "missing-key"),
    ("output: motor, kp: .5x", ".5x", "wrong-type"),
    ("output: motor, kp: 'nan'", "'nan'", "unknown-name"),
    ("output: motor, kp: 1e39", "1e39", "bad-number"),
    ("output: motor, kp: 1, ki: -1", "-1}", "bad-drive"),
    ("output: motor, kp: 1, limit: 1 deg", "1 deg}", "bad-unit"),
    ("output: motor, kp: 1, limit: 0", "0}\n", "out-of-span"),
    ("output: motor, kp: 1, dead_band: -1 deg", "-1 deg}", "out-of-span"),
    ("output: motor, kp: 1, dead_band: 1 mm", "1 mm}", "bad-unit"),
    ("output: motor, kp: 1, every: 15 ms", "15 ms}", "out-of-span"),
    ("output: motor, kp: 1, every: 700 s", "700 s}", "out-of-span"),
    ("output: motor, kp: 1, filter: -1 ms", "-1 ms}", "out-of-span"),
    ("output: motor, kp: 1, filter: 1 mm", "1 mm}", "bad-unit"),
    ("output: motor, kp: 1, ki: 1, tracking: 5 ms", "5 ms}", "out-of-span"),
    ("output: motor, kp: 1, start: bumpless", "bumpless}", "bad-drive"),
    ("output: motor, kp: 1, start: soft", "soft}", "wrong-type"),
    ("output: motor, kp: 1, fade: 0 s", "0 s}", "out-of-span"),
    ("output: motor, kp: 1, fade: 240 h", "240 h}", "out-of-span"),
    ("output: motor, kp: 1, bleed: 1 /s", "1 /s}", "bad-drive"),
    ("output: motor, kp: 1, bleeds: 1", "bleeds", "unknown-key"),
]


@pytest.mark.parametrize(("row", "at", "code"), BAD_LOOPS)
def test_one_error_of_a_loop_at_its_place(row: str, at: str, code: str) -> None:
    text = gait(outputs=one_loop(row))
    assert [(f"{f.place.line}:{f.place.column}", f.code) for f in errors_in(text)] == [(spot(text, at), code)]


BAD_OUTPUTS = [
    ("{span: [0.1, 1]}", "[0.1", "out-of-span"),
    ("{span: [-1 V, 1 V]}", "[-1 V", "bad-unit"),
    ("{slew: 0 /s}", "0 /s", "out-of-span"),
    ("{slew: 1e-9 /s}", "1e-9", "out-of-span"),
    ("{slew: 4 deg/s}", "4 deg", "bad-unit"),
    ("{supply: battery}", "supply:", "missing-key"),
    ("{full_scale_at: 12 V}", "full_scale", "missing-key"),
    ("{supply: knee, full_scale_at: 12 V}", "12 V}", "bad-unit"),
    ("{supply: gone, full_scale_at: 12 V}", "gone", "unknown-name"),
    ("{supply: battery, full_scale_at: 0 V}", "0 V", "out-of-span"),
    ("{supply: battery, full_scale_at: 12 V, under_for: 1 s}", "under_for", "missing-key"),
    ("{supply: battery, full_scale_at: 12 V, smooth: -1 s}", "-1 s", "out-of-span"),
    ("{supply: battery, full_scale_at: 12 V, least_supply: -1 V}", "-1 V", "out-of-span"),
    ("{stall: {above: 1, signal: body, moves: 1 deg, for: 1 s}}", "1, signal", "out-of-span"),
    ("{stall: {above: 0.5, signal: body, moves: 0 deg, for: 1 s}}", "0 deg", "out-of-span"),
    ("{stall: {above: 0.5, signal: body, moves: 1 mm, for: 1 s}}", "1 mm", "bad-unit"),
    ("{stall: {above: 0.5, signal: gone, moves: 1 mm, for: 1 s}}", "gone", "unknown-name"),
    ("{stall: {above: 0.5, signal: body, moves: 1 deg}}", "stall", "missing-key"),
    ("{pulse: true, slew: 4 /s}", "{pulse: true, slew", "bad-drive"),
    ("{holds_unpowered: yes}", "yes", "wrong-type"),
]


@pytest.mark.parametrize(("motor", "at", "code"), BAD_OUTPUTS)
def test_one_error_of_an_output_at_its_place(motor: str, at: str, code: str) -> None:
    text = gait(outputs=outputs(motor=motor), signals=BATTERY)
    before = text[: text.index("motor:")].count(at)  # what stands there is not meant
    where = spot(text, at, 1 + before)
    assert [(f"{f.place.line}:{f.place.column}", f.code) for f in errors_in(text)] == [(where, code)]


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        ("adds_to: {hip: 0.5}", "adds_to: {hip: 0.5}, output: motor", "bad-drive"),
        ("limit: 4 deg, ", "", "missing-key"),
        ("limit: 4 deg, ", "limit: 4 deg, bleed: 1 deg, ", "bad-unit"),
        ("limit: 4 deg, ", "limit: 4 deg, bleed: 0 deg/s, ", "out-of-span"),
        ("limit: 4 deg, ", "limit: 4, ", "bad-unit"),
        ("[lean, -2 deg]", "[lean, -2 mm]", "bad-unit"),
        ("[lean, -2 deg]", "[lean, bend]", "bad-unit"),
        ("[lean, -2 deg]", "[lane]", "unknown-name"),
        ("[lean, -2 deg]", "[]", "missing-key"),
        ("tilt: 1, hip: -1", "tilt: 1, hip: 1e39", "bad-number"),
    ],
)
def test_one_error_of_a_cascade(old: str, new: str, code: str) -> None:
    assert old in CASCADE
    assert codes(outputs=outputs(loops=CASCADE.replace(old, new))) == [code]


def test_a_loop_adds_to_loops_of_one_unit() -> None:
    more = "    knees: {setpoint: [bend], signal: knee, kp: 1, output: motor}\n"
    rows = CASCADE.replace("hip: -1}", "knees: -1}") + more
    assert codes(outputs=outputs(loops=rows)) == ["bad-unit"]


@pytest.mark.parametrize(
    ("rows", "ring"),
    [
        ("    a: {adds_to: {a: 1}}\n", "a to a"),
        ("    a: {adds_to: {b: 1}}\n    b: {adds_to: {a: 1}}\n", "a to b to a"),
        # the tail that leads out of the ring is no part of it
        (
            "    t: {output: motor}\n    a: {adds_to: {b: 1}}\n    b: {adds_to: {c: 1, t: 1}}\n"
            "    c: {adds_to: {a: 1}}\n",
            "a to b to c to a",
        ),
    ],
)
def test_a_ring_of_loops_is_an_error_with_its_way_told(rows: str, ring: str) -> None:
    full = rows.replace("{adds", "{setpoint: [lean], signal: body, kp: 1, limit: 1 deg, adds")
    text = gait(outputs=outputs(loops=full.replace("{out", "{setpoint: [lean], signal: body, kp: 1, out")))
    (finding,) = errors_in(text)
    steps = finding.message.partition("ring: ")[2].split(" to ")
    start = steps.index("a")
    assert finding.code == "bad-drive"
    assert " to ".join([*steps[start:-1], *steps[: start + 1]]) == ring
