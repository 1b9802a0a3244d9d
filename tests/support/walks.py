"""The references of the recorded walks, and what a segmentation is worth against them.

Times in seconds. A referenced stretch reaches from a little before the first referenced contact of a foot to
a little after the last one; what is found outside of it is neither right nor wrong.
"""

from functools import cache

import numpy as np

from support.recordings import FEET, Array, Segmented, columns, rows
from support.segmentation import Match, joined, match, within

PERSON_TOLERANCE_S = 0.1  # a tenth of a stride
ROBOT_TOLERANCE_S = 0.02
EDGE_S = 0.2


@cache
def person_a(foot: str) -> tuple[Array, Array]:
    """Return contacts and toe-offs of person A's foot from motion capture."""
    own = [row for row in rows("person_a_events.csv") if row["foot"] == foot]
    contacts = {float(row[key]) for row in own for key in ("pre_ic_s", "ic_s")}
    return np.array(sorted(contacts)), np.array(sorted(float(row["tc_s"]) for row in own))


def person_a_matches(
    got: Segmented, *, slower: float = 1.0, feet: tuple[str, ...] = FEET
) -> tuple[Match, Match]:
    """Hold contacts and toe-offs of person A's walk, perhaps stretched in time, against the reference."""
    landings, lifts = [], []
    for foot in feet:
        contacts, toe_offs = (times * slower for times in person_a(foot))
        first, last = contacts[0] - EDGE_S * slower, contacts[-1] + EDGE_S * slower
        tolerance = PERSON_TOLERANCE_S * slower
        landings.append(match(contacts, within(got.entered_s[foot, "landing"], first, last), tolerance))
        lifts.append(
            match(toe_offs, within(got.entered_s[foot, "swing"], contacts[0], contacts[-1]), tolerance)
        )
    return joined(landings), joined(lifts)


@cache
def person_b() -> tuple[tuple[str, float, float], ...]:
    """Return foot, start and end of each stride of person B that is referenced."""
    return tuple((r["foot"], float(r["start_s"]), float(r["end_s"])) for r in rows("person_b_strides.csv"))


def whole_strides(got: Segmented, *, slower: float = 1.0) -> list[tuple[str, float, float]]:
    """List the referenced strides of person B that hold just one swing and after it just one landing."""
    whole = []
    for foot, start, end in person_b():
        swings = within(got.entered_s[foot, "swing"], start * slower, end * slower)
        landings = within(got.entered_s[foot, "landing"], start * slower, end * slower)
        if len(swings) == len(landings) == 1 and swings[0] < landings[0]:
            whole.append((foot, start, end))
    return whole


def crossings(times: Array, contact: Array) -> tuple[Array, Array]:
    """Return touches and lifts of a contact signal: the samples at which it has crossed one half."""
    step = np.diff((contact > 0.5).astype(int))
    return times[1:][step > 0], times[1:][step < 0]


def robot_matches(got: Segmented, leg: str) -> tuple[Match, Match]:
    """Hold touches and lifts of the robot's leg against its contact signal."""
    reference = columns("two_legged_robot_contact.csv")
    touches, lifts = crossings(reference["time_s"], reference[f"{leg}_contact"])
    return (
        match(touches, got.entered_s[leg, "stance"], ROBOT_TOLERANCE_S),
        match(lifts, got.entered_s[leg, "swing"], ROBOT_TOLERANCE_S),
    )
