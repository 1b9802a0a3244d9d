"""Loops at the edge of stability, tuned by rule, and in cascade, against textbook values and scipy.

The values were computed independently with control 0.10.2 and scipy 1.17.1; examples and tables of K. Ogata,
Modern Control Engineering (example 8-1), and of J. G. Ziegler and N. B. Nichols (1942) are cited from memory.
"""

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal as control
from support.control import step_response
from support.executors import MakeExecutor

from sequencer.plan.build import parse_plan
from sequencer.trace.blocks import FRESH_VALUE, TickBlock, empty_block

# 1 / (s (s + 1) (s + 5)): gain 30 and a period of 2.8099 s at the edge of stability
TOP, BOTTOM = [1.0], [1.0, 6.0, 5.0, 0.0]
ULTIMATE_GAIN, ULTIMATE_PERIOD_S = 30.0, 2.809926


def swings(t: NDArray[np.float64], y: NDArray[np.float64]) -> tuple[NDArray[np.float64], float]:
    """Give the heights of the peaks over 1, and the mean time from one peak to the next."""
    peaks = np.flatnonzero((y[1:-1] > y[:-2]) & (y[1:-1] >= y[2:])) + 1
    return y[peaks] - 1, float(np.diff(t[peaks]).mean())


def test_at_the_ultimate_gain_it_swings_on_with_the_ultimate_period(make_executor: MakeExecutor) -> None:
    ratios = {}
    for gain in (27.0, ULTIMATE_GAIN, 33.0):
        t, y = step_response(make_executor, TOP, BOTTOM, f"kp: {gain}", seconds=20, tick=2, most=1e4)
        heights, period = swings(t, y)
        ratios[gain] = heights[-1] / heights[1]
        if gain == ULTIMATE_GAIN:
            assert period == pytest.approx(ULTIMATE_PERIOD_S, abs=5e-3)
    assert ratios[27.0] < 0.7 and ratios[33.0] > 1.4
    assert ratios[ULTIMATE_GAIN] == pytest.approx(1, abs=0.05), "half a tick of delay is not nothing"


def test_tuned_by_the_ultimate_gain_it_answers_as_the_linear_loop(make_executor: MakeExecutor) -> None:
    # Ziegler and Nichols: kp = 0.6 Ku = 18, Ti = Pu / 2 = 1.404963 s, Td = Pu / 8 = 0.351241 s
    kp = 0.6 * ULTIMATE_GAIN
    ki, kd = kp / (ULTIMATE_PERIOD_S / 2), kp * ULTIMATE_PERIOD_S / 8
    assert (kp / ki, kd / kp) == pytest.approx((1.404963, 0.351241), abs=1e-6)
    loop = f"kp: {kp}, ki: {ki}, kd: {kd}"
    t, y = step_response(make_executor, TOP, BOTTOM, loop, seconds=12, tick=1, most=1e4)
    # the derivative is on the signal: it stands in the closed loop's denominator and not in its numerator
    closed = np.polyadd([*BOTTOM, 0.0], [kd, kp, ki])
    _, exact = control.step(([kp, ki], closed), T=t)
    assert np.abs(y - exact).max() < 0.01
    # with the derivative on the error it overshoots by 61.8 % (Ogata: about 62 %): other zeros, same poles
    _, on_error = control.step(([kd, kp, ki], closed), T=t)
    assert on_error.max() - 1 == pytest.approx(0.618, abs=5e-3)
    assert y.max() == pytest.approx(exact.max(), abs=5e-3)
    assert np.abs(y - on_error).max() > 0.1, "the two are told apart"


# -- cascade -------------------------------------------------------------------------------------------------

CASCADE = """
gait: trial
machine:
  tick: 1 ms
  signals: {speed: {unit: deg/s, span: [-1e4, 1e4]}, place: {unit: deg, span: [-1e4, 1e4]}}
  outputs: {m: {span: [-1e4, 1e4]}}
  loops:
    outer: {setpoint: [1 deg], signal: place, kp: 2, limit: 100 deg/s, adds_to: {inner: 1}}
    inner: {setpoint: [0 deg/s], signal: speed, kp: %s, output: m}
phases: {a: {rest: true}}
"""


@pytest.mark.parametrize("ratio", [3, 10])
def test_a_cascade_is_the_linear_one_and_overshoots_less_the_faster_the_inner_loop(
    make_executor: MakeExecutor, ratio: int
) -> None:
    # The inner loop on 1/s is first order with the rate kp; the outer crosses at 2 rad/s. A rate 3 to 10
    # times that is the rule (common practice, no source). Both: second order, wn^2 = 2 kp, 2 z wn = kp.
    gain = 2.0 * ratio
    executor = make_executor(parse_plan(CASCADE % gain))
    count, h = 6000, 0.001
    speed = place = 0.0
    places = np.zeros(count)
    for k in range(count):
        block: TickBlock = empty_block(1, 2)
        block.now[0], block.raw[0], block.fresh[0] = k, (speed, place), FRESH_VALUE
        places[k] = place
        u = float(executor.run(block).output[0, 0])
        place, speed = place + h * speed + h * h / 2 * u, speed + h * u
    wn, z = math.sqrt(2 * gain), gain / (2 * math.sqrt(2 * gain))
    _, exact = control.step(([wn * wn], [1, 2 * z * wn, wn * wn]), T=np.arange(count) * h)
    assert np.abs(places - exact).max() < 5e-3
    overshoot = math.exp(-math.pi * z / math.sqrt(1 - z * z)) if z < 1 else 0.0
    assert places.max() - 1 == pytest.approx(overshoot, abs=3e-3)


# -- the smoothed supply -------------------------------------------------------------------------------------


def test_the_supply_is_smoothed_with_the_coefficient_of_the_textbook(make_executor: MakeExecutor) -> None:
    # backward Euler, h / (tau + h): 0.01 / 0.06 = 0.166667 (textbook); exact it would be 1 - exp(-0.2) = 0.18
    machine = """
gait: trial
machine:
  tick: 10 ms
  signals: {y: {unit: deg, span: [-9, 9]}, battery: {unit: V, span: [0, 20]}}
  outputs: {m: {span: [-10, 10], supply: battery, full_scale_at: 12 V, smooth: 50 ms}}
  loops: {l: {setpoint: [1 deg], signal: y, kp: 1, output: m}}
phases: {a: {rest: true}}
"""
    rig = make_executor(parse_plan(machine))
    smoothed = []
    for k, volts in enumerate([12.0, *[6.0] * 9]):
        block: TickBlock = empty_block(1, 2)
        block.now[0], block.raw[0], block.fresh[0] = k * 10, (0.0, volts), FRESH_VALUE
        smoothed.append(12.0 / float(rig.run(block).output[0, 0]))
    expected = control.lfilter([1 / 6], [1, -5 / 6], [-6.0] * 9) + 12
    assert smoothed[0] == pytest.approx(12.0, abs=1e-5)
    assert smoothed[1:] == pytest.approx(expected, rel=1e-6)
