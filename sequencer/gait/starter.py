"""A first machine file and gait file for a machine that is described by a few words.

The texts are meant to be changed by hand: every value is a guess to start from, and says so. As they are,
they load, the check finds no error or warning in them, and the walk can be dry-run.
"""

from dataclasses import dataclass, replace
from typing import Final

from pydantic_core import PydanticCustomError

from sequencer.base.errors import MisuseError
from sequencer.gait.fields import check_name
from sequencer.gait.starter_crawl import crawl_text
from sequencer.gait.starter_files import Starter, machine_text
from sequencer.gait.starter_sway import sway_text

SENSORS: Final = ("joint", "tilt", "load", "battery")
MOST_LEGS: Final = 8
_FOUR = ("lf", "rf", "lh", "rh")


@dataclass(frozen=True, slots=True)
class StarterFiles:
    """The names and texts of the two files."""

    machine_name: str
    machine: str
    gait_name: str
    gait: str


def starter(
    name: str, *, legs: int = 2, joints: tuple[str, ...] = (), sensors: tuple[str, ...] = ("joint", "tilt")
) -> StarterFiles:
    """Write both files for a machine of so many legs.

    joints: with two legs, the first shifts the weight (one for the whole machine) and the last lifts a foot;
    with more legs the first swings a leg forward and the last lifts it, or the only one lifts it. Those
    between are declared and held still. Default: ``lean, bend`` or ``swing, lift``.
    sensors: of SENSORS; ``joint`` is needed, because nothing in the walk may be left to a timer.

    Raises MisuseError for names that cannot be used and for a machine that cannot walk so.
    """
    joints = joints or (("lean", "bend") if legs == 2 else ("swing", "lift"))
    _check(name, legs, joints, sensors)
    plain = Starter(name, leg_names(legs), joints, frozenset(sensors))
    machine_name = f"{name}.machine.yaml"
    gait = sway_text(plain) if legs == 2 else crawl_text(replace(plain, order=stepping_order(legs)))
    return StarterFiles(machine_name, machine_text(plain), f"{name}.gait.yaml", gait)


def leg_names(legs: int) -> tuple[str, ...]:
    """Name the legs: left and right; left and right, fore and hind; or by their row."""
    if legs == 2:
        return ("left", "right")
    if legs == 4:
        return _FOUR
    if legs % 2:
        return tuple(f"leg{i + 1}" for i in range(legs))
    return tuple(f"{side}{row + 1}" for row in range(legs // 2) for side in "lr")


def stepping_order(legs: int) -> tuple[str, ...]:
    """Say in which order the legs step, one at a time.

    For an even number the wave gait with duty factor 1 - 1/legs: row m of the left touches down at the
    fraction m * duty of the cycle, its opposite half a cycle later (S.-M. Song and K. J. Waldron, Machines
    That Walk, MIT Press 1989; cited from memory). An odd number steps around.
    """
    names = leg_names(legs)
    if legs % 2:
        return names
    duty = (legs - 1) * 2  # in units of 1 / (2 * legs) of the cycle, so that the fractions stay whole
    cycle = 2 * legs
    at = {names[2 * m + side]: (m * duty + side * legs) % cycle for m in range(legs // 2) for side in (0, 1)}
    return tuple(sorted(names, key=lambda leg: at[leg]))


def _check(name: str, legs: int, joints: tuple[str, ...], sensors: tuple[str, ...]) -> None:
    if not 2 <= legs <= MOST_LEGS:
        raise MisuseError(f"{legs} legs can't be set up here", hint=f"give 2 to {MOST_LEGS}")
    for word in (name, f"{name}_walk", *joints):
        _check_word(word)
    if len(set(joints)) < len(joints):
        raise MisuseError("a joint is named twice", hint="give each joint a name of its own")
    if legs == 2 and len(joints) < 2:
        raise MisuseError(
            "two legs need two joints: one that shifts the weight, one that lifts a foot",
            hint="for example --joints lean,bend",
        )
    for sensor in sensors:
        if sensor not in SENSORS:
            raise MisuseError(
                f"'{sensor}' is no kind of sensor here", hint=f"choose from {', '.join(SENSORS)}"
            )
    if "joint" not in sensors:
        raise MisuseError(
            "without a sensor on the joints nothing tells when a foot is up, and a timer must not",
            hint="add joint to --sensors",
        )


def _check_word(word: str) -> None:
    try:
        check_name(word)
    except PydanticCustomError as error:
        context = error.context or {}
        raise MisuseError(error.message(), hint=str(context.get("expected", ""))) from None
