"""Loops against worked values, textbook formulas and a linear closed loop made with scipy.

The worked values of the discrete PID were computed independently (binary64, numpy 2.4.6, scipy 1.17.1,
control 0.10.2) for the pseudo-code of K. J. Astrom and R. M. Murray, Feedback Systems (2008), section 10.5,
and K. J. Astrom and T. Hagglund, PID Controllers (1995); both are cited from memory. The loop here runs in
binary32, hence the tolerances of 1e-6 and 2e-6.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal as control
from support.control import Plant, Rig, plan_of, step_response
from support.executors import MakeExecutor

from sequencer.plan.tables import Plan

# -- a worked discrete PID: kp=2 ki=4 kd=.1 Tf=.02 Tt=.25 h=.1, u in [-1, 1], r=.8, plant 1/(s+1) ----------

PID = "kp: 2, ki: 4, kd: 0.1, filter: 20 ms, tracking: 250 ms"
PLANT = Plant.of([1.0], [1.0, 1.0], 0.1)
# y, I, D, v, u for k = 0 to 7
WORKED = [
    (0.0, 0.0, 0.0, 1.6, 1.0),
    (0.095163, 0.08, -0.079302, 1.410373, 1.0),
    (0.181269, 0.197786, -0.084973, 1.350275, 1.0),
    (0.259182, 0.305168, -0.079089, 1.307716, 1.0),
    (0.329680, 0.398409, -0.071930, 1.267119, 1.0),
    (0.393469, 0.479690, -0.065146, 1.227605, 1.0),
    (0.451188, 0.551260, -0.058957, 1.189926, 1.0),
    (0.503415, 0.614814, -0.053348, 1.154637, 1.0),
]
AD, BD = 0.02 / 0.12, 0.1 / 0.12


def inside(make_executor: MakeExecutor, plan: Plan, k: int, guess: float) -> float:
    """Find I + ad * D of the tick before, as tick k sees them, though u is at its limit.

    In place of y of tick k the loop is given one at which v is well within the limits, so that u is v.
    """
    rig = Rig(make_executor, plan)
    for row in WORKED[:k]:
        assert rig.give(row[0]) == row[4]
    before = WORKED[k - 1][0]
    y = (1.6 + guess + BD * before) / (2 + BD)
    v = rig.give(y)
    assert abs(v) < 0.5
    return v - 2 * (0.8 - y) + BD * (y - before)


def test_the_worked_pid_with_back_calculation(make_executor: MakeExecutor) -> None:
    plan = plan_of(PID)
    rig = Rig(make_executor, plan)
    ys = PLANT.run(rig.give, 8)
    assert ys == pytest.approx([row[0] for row in WORKED], abs=2e-6)
    for k, (y, integral, derivative, v, _) in list(enumerate(WORKED))[1:]:
        y_before, d_before = WORKED[k - 1][0], WORKED[k - 1][2]
        seen = inside(make_executor, plan, k, integral + AD * d_before)
        assert seen - AD * d_before == pytest.approx(integral, abs=2e-6)
        assert 2 * (0.8 - y) + seen - BD * (y - y_before) == pytest.approx(v, abs=4e-6)  # of rounded values
        assert AD * d_before - BD * (y - y_before) == pytest.approx(derivative, abs=2e-6)
    # v of the first row is beyond the limit; without one it shows
    assert Rig(make_executor, plan_of(PID, most=9)).give(0.0) == pytest.approx(1.6, abs=2e-6)


def test_the_worked_derivative(make_executor: MakeExecutor) -> None:
    rig = Rig(make_executor, plan_of("kd: 0.1, filter: 20 ms"))
    exact = [1 - math.exp(-0.1 * k) for k in range(8)]
    assert [rig.give(y) for y in exact] == pytest.approx([row[2] for row in WORKED], abs=2e-6)


def test_the_worked_pid_without_protection_against_windup(make_executor: MakeExecutor) -> None:
    plan = plan_of(PID)
    plan = replace(plan, loops=(replace(plan.loops[0], br=0.0),))
    integrals = [0.32, 0.601935, 0.849427, 1.065755, 1.253883, 1.416495, 1.556019]
    for k, integral in enumerate(integrals, 1):
        d_before = WORKED[k - 1][2]
        seen = inside(make_executor, plan, k, integral + AD * d_before)
        assert seen - AD * d_before == pytest.approx(integral, abs=2e-6)


def test_back_calculation_overshoots_less_than_nothing(make_executor: MakeExecutor) -> None:
    # Freezing the integral instead (conditional integration, peak 0.8228) is not what this loop does.
    plan = plan_of(PID)
    bare = replace(plan, loops=(replace(plan.loops[0], br=0.0),))
    peaks = {}
    for name, each in (("back", plan), ("none", bare)):
        ys = PLANT.run(Rig(make_executor, each).give, 200)
        peaks[name] = ys.max()
        assert ys[-1] == pytest.approx(0.8, abs=1e-4)
    assert peaks == pytest.approx({"back": 0.8331, "none": 0.969803}, abs=1e-4)


def linear_closed_loop(kp: float, ki: float, kd: float, tf: float, h: float, plant: Plant) -> tuple:  # type: ignore[type-arg]  # matrices
    """Make the same loop without limits as one linear system: r in, y out; state x, I, D, y before."""
    a, b, c = float(plant.a[0, 0]), float(plant.b[0, 0]), float(plant.c[0, 0])
    ad, bd, bi = tf / (tf + h), kd / (tf + h), ki * h
    new_d = np.array([-bd * c, 0.0, ad, bd])
    u = np.array([-kp * c, 1.0, 0.0, 0.0]) + new_d
    system = np.array([np.array([a, 0, 0, 0]) + b * u, [-bi * c, 1, 0, 0], new_d, [c, 0, 0, 0]])
    return system, np.array([[b * kp], [bi], [0], [0]]), np.array([[c, 0, 0, 0]]), np.zeros((1, 1)), h


def test_within_its_limits_the_loop_is_the_linear_one(make_executor: MakeExecutor) -> None:
    ys = PLANT.run(Rig(make_executor, plan_of(PID, most=100)).give, 200)
    worked = [0, 0.152260, 0.279429, 0.394927, 0.498189, 0.588513, 0.665753, 0.730232]
    assert ys[:8] == pytest.approx(worked, abs=1e-6)  # computed with python-control
    system = linear_closed_loop(2, 4, 0.1, 0.02, 0.1, PLANT)
    _, linear, _ = control.dlsim(system, np.full((200, 1), 0.8))
    assert ys == pytest.approx(linear[:, 0], abs=1e-6)


# -- textbook responses --------------------------------------------------------------------------------------


def settled(t: NDArray[np.float64], y: NDArray[np.float64], band: float) -> float:
    return float(t[np.flatnonzero(np.abs(y - 1) > band)[-1]])


def rise(t: NDArray[np.float64], y: NDArray[np.float64]) -> float:
    return float(t[np.argmax(y >= 0.9)] - t[np.argmax(y >= 0.1)])


@pytest.mark.parametrize(
    ("z", "wn", "settling", "rise_s"),
    [
        # K. Ogata, Modern Control Engineering, example 5-1 (cited from memory); settling to 2 % and rise from
        # 10 to 90 % computed with python-control: 4 / (z wn) = 1.33 s and 3 / (z wn) = 1 s are the envelope's
        (0.6, 5.0, 1.1886, 0.3708),
        # N. S. Nise, Control Systems Engineering, example 4.5 (cited from memory): 2.838 %, 0.475 s, 0.23 s
        (0.75, 10.0, None, 0.2288),
    ],
)
def test_a_second_order_loop_overshoots_and_settles_as_in_the_textbook(
    make_executor: MakeExecutor, z: float, wn: float, settling: float | None, rise_s: float
) -> None:
    # proportional control of wn^2 / (s (s + 2 z wn)) closes to wn^2 / (s^2 + 2 z wn s + wn^2)
    t, y = step_response(make_executor, [wn * wn], [1, 2 * z * wn, 0], "kp: 1")
    wd = wn * math.sqrt(1 - z * z)
    # the hold delays by half a tick, which takes about wn h / 2 off the damping: 0.0025 and 0.005
    assert y.max() - 1 == pytest.approx(math.exp(-math.pi * z / math.sqrt(1 - z * z)), abs=2e-3)
    assert t[y.argmax()] == pytest.approx(math.pi / wd, abs=3e-3)
    assert t[np.argmax(y >= 1)] == pytest.approx((math.pi - math.acos(z)) / wd, abs=3e-3)
    assert rise(t, y) == pytest.approx(rise_s, abs=2e-3)
    _, exact = control.step(([wn * wn], [1, 2 * z * wn, wn * wn]), T=t)
    assert settled(t, y, 0.02) == pytest.approx(settled(t, exact, 0.02), abs=5e-3)
    if settling is not None:
        assert settled(t, y, 0.02) == pytest.approx(settling, abs=5e-3)
        assert settled(t, y, 0.05) == pytest.approx(1.0458, abs=5e-3)


def test_a_first_order_plant_under_proportional_control(make_executor: MakeExecutor) -> None:
    # K / (1 + K) of the way, with the time constant tau / (1 + K): textbook
    t, y = step_response(make_executor, [1], [0.5, 1], "kp: 4")
    assert y == pytest.approx(0.8 * (1 - np.exp(-t * 5 / 0.5)), abs=2e-3)
    assert y[-1] == pytest.approx(0.8, abs=1e-5)


def test_an_integral_that_cancels_the_plants_pole_leaves_a_first_order_loop(
    make_executor: MakeExecutor,
) -> None:
    # kp / ki = tau: the loop closes to 1 / (1 + s tau / kp), no overshoot, 2 % after ln 50 time constants
    t, y = step_response(make_executor, [1], [0.5, 1], "kp: 2, ki: 4")
    assert y == pytest.approx(1 - np.exp(-t * 2 / 0.5), abs=2e-3)
    assert y.max() <= 1 + 1e-5
    assert settled(t, y, 0.02) == pytest.approx(math.log(50) * 0.25, abs=5e-3)


def test_a_step_of_the_setpoint_gives_no_derivative_kick(make_executor: MakeExecutor) -> None:
    # on the error the first sample would give kd r / h = 0.8; on the signal it gives 0 (Astrom and Hagglund)
    rig = Rig(make_executor, plan_of("kd: 0.1"))
    assert [rig.give(0.0) for _ in range(3)] == [0.0, 0.0, 0.0]


@pytest.mark.parametrize(("kh", "end"), [(0.5, 1.0), (1.0, 1.0), (1.9, 0.998203), (2.1, -303.48)])
def test_proportional_control_of_an_integrator_is_stable_below_2(
    make_executor: MakeExecutor, kh: float, end: float
) -> None:
    # y + K h (1 - y) is stable for 0 < K h < 2 and dead-beat at 1 (textbook)
    plan = plan_of(f"kp: {kh / 0.1}", most=1e5, r=1)
    ys = Plant.of([1], [1, 0], 0.1).run(Rig(make_executor, plan).give, 61)
    assert ys[60] == pytest.approx(end, abs=1e-3 if abs(end) < 2 else 5e-3)
    if kh == 1.0:
        assert ys[1:] == pytest.approx([1.0] * 60, abs=1e-6)
