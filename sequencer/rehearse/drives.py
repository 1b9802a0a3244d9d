"""Motors: from duty or a setpoint to the speed at which a rotor is led.

The speed falls linearly with the load, as that of a motor with a permanent magnet does at a given voltage
(speed-torque line; any handbook of DC motors): v = v0 * duty * supply / at - v0 * load / stall. A drive that
is self-locking (`holds_unpowered`, a lead screw) is not moved by its load; another one is, and sinks even at
no duty. Without power the motor is taken as braked by its driver, not as open. The speed follows with a lag
of first order.

A servo (`setpoint:`) goes to its setpoint by itself at a speed in proportion to what is missing.
"""

import math
from typing import Any

from sequencer.rehearse.body import Body, Drive
from sequencer.rehearse.model import Model

_SERVO_S = 0.03  # time constant of a servo's own loop


class Drives:
    """Leads all rotors; keeps their speeds from tick to tick."""

    def __init__(self, body: Body, model: Model, tick_s: float) -> None:
        self._body = body
        self._model = model
        self._speeds = [0.0] * len(body.drives)
        self._blends = [-math.expm1(-tick_s / d.lag) if d.lag > 0 else 1.0 for d in body.drives]
        self._signs = [_sign(body, drive) for drive in body.drives]

    def command(self, outputs: Any, setpoints: Any, volts: float | None, *, on: bool) -> None:
        """Take what the tick commands: the plan's outputs and setpoints, and whether drives are on."""
        data = self._model.data
        for number, drive in enumerate(self._body.drives):
            sign, motor = self._signs[number], self._model.motor[number]
            full = drive.speed
            if drive.at is not None and volts is not None:
                full *= max(0.0, volts) / drive.at
            if drive.output is not None:
                free = full * float(outputs[drive.output])
            else:
                free = self._servo(number, drive, setpoints, full) if on else 0.0
            pushes = sign * float(data.actuator_force[motor])  # what the motor pushes with, its own way
            wanted = loaded_speed(drive, free, pushes)
            self._speeds[number] += (wanted - self._speeds[number]) * self._blends[number]
            data.ctrl[motor] = sign * self._speeds[number]

    def _servo(self, number: int, drive: Drive, setpoints: Any, full: float) -> float:
        joint = self._body.links[drive.joint].joint
        assert joint is not None
        assert drive.setpoint is not None
        rotor = self._signs[number] * float(self._model.data.qpos[self._model.rotor_at[number]])
        short = float(setpoints[drive.setpoint]) * drive.setpoint_scale + joint.stands_at - rotor
        return min(max(short / _SERVO_S, -full), full)


def loaded_speed(drive: Drive, free: float, pushes: float) -> float:
    """Give a motor's speed under load.

    free: its speed without load, rad/s or m/s. pushes: what it pushes with, Nm or N, positive in the
    direction of positive speeds.
    """
    slower = drive.speed * pushes / drive.stall
    if not drive.self_locking:
        return free - slower
    if free > 0:
        return max(0.0, free - max(0.0, slower))
    return min(0.0, free - min(0.0, slower))


def _sign(body: Body, drive: Drive) -> float:
    joint = body.links[drive.joint].joint
    assert joint is not None
    return joint.sign
