"""Where the body really is: what sensors would measure if they were true, feet, support, fall."""

import math

import numpy as np
from numpy.typing import NDArray

from sequencer.rehearse.body import Body, Sense
from sequencer.rehearse.model import Model, lowest
from sequencer.rehearse.support import margin

CARRIES_N = 0.5  # a foot that carries less than this is off the floor


class Stance:
    """Reads the engine's state; call `look` once after every step. SI units."""

    def __init__(self, body: Body, model: Model) -> None:
        self._body = body
        self._model = model
        self._foot_of = {geom: foot for foot, geom in model.feet.items()}
        self.loads: dict[int, float] = {}
        self.margin: float | None = None
        self.look()

    def look(self) -> None:
        """Find which feet the floor carries, with how much, and the margin of the zero moment point.

        The zero moment point is the centre of pressure as long as a foot stands (M. Vukobratovic and
        B. Borovac, Zero-moment point: thirty five years of its life, Int. J. Humanoid Robotics 1(1), 2004;
        from memory): the mean place of the contacts, weighted with their forces along the vertical.
        """
        data = self._model.data
        self.loads = dict.fromkeys(self._body.feet, 0.0)
        places: list[tuple[float, float]] = []
        total = moment_x = moment_y = 0.0
        contacts = data.contact  # arrays over all contacts
        forces = data.efc_force  # of an elliptic cone the first row is along the normal
        rows = zip(contacts.geom.tolist(), contacts.efc_address.tolist(), contacts.pos.tolist(), strict=True)
        for pair, row, (x, y, _) in rows:
            foot = self._foot_of.get(pair[1] if pair[0] == self._model.floor else pair[0])
            if foot is None or self._model.floor not in pair or row < 0:
                continue
            force = float(forces[row])
            if force > 0:
                self.loads[foot] += force
                places.append((x, y))
                total += force
                moment_x += force * x
                moment_y += force * y
        self.margin = None
        if total > CARRIES_N:
            self.margin = margin(places, (moment_x / total, moment_y / total))

    def sensed(self, sense: Sense) -> float:
        """Give what a sensor of a tilt, a joint, a motor or a load would read if it were true."""
        if sense.kind == "joint":
            return self._joint(sense.what, self._model.joint_at[sense.what])
        if sense.kind == "motor":
            return self._joint(self._body.drives[sense.what].joint, self._model.rotor_at[sense.what])
        if sense.kind == "load":
            return self.loads[sense.what]
        turn = self._model.data.xmat[self._model.bodies[sense.what]]
        if sense.kind == "roll":
            return math.atan2(turn[7], turn[8])
        return math.atan2(-turn[6], math.hypot(turn[7], turn[8]))

    def _joint(self, link: int, at: int) -> float:
        joint = self._body.links[link].joint
        assert joint is not None
        return joint.sign * float(self._model.data.qpos[at]) - joint.stands_at

    def clearance(self, foot: int) -> float:
        """Give the height of a foot's lowest point over the floor."""
        return lowest(self._model, self._body, foot)

    def carries(self, foot: int) -> bool:
        """Tell whether the floor carries a foot."""
        return self.loads[foot] > CARRIES_N

    @property
    def tilt(self) -> float:
        """The angle between the trunk's own upward axis and the vertical, rad."""
        return math.acos(min(1.0, max(-1.0, float(self._model.data.xmat[self._model.bodies[0]][8]))))

    @property
    def height(self) -> float:
        """The height of the trunk's origin."""
        return float(self._model.data.xpos[self._model.bodies[0]][2])

    @property
    def fallen(self) -> str:
        """Why the machine counts as fallen, or nothing."""
        if self.tilt > self._body.fallen_tilt:
            return f"the trunk leans by more than {math.degrees(self._body.fallen_tilt):g} deg"
        if self.height < self._body.fallen_below:
            return f"the trunk is lower than {1000 * self._body.fallen_below:g} mm"
        return ""

    def places(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Give where all links are: their origins (links, 3), and how they are turned (links, 3, 3)."""
        bodies = list(self._model.bodies)
        data = self._model.data
        return data.xpos[bodies], data.xmat[bodies].reshape(-1, 3, 3)
