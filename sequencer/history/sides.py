"""Left beside right: which names are each other's other side, and what the two sides took in a run.

A walk that limps shows it here first: the same phase takes longer on one side, or has less to spare. Nothing
in a log says what is left and what is right, so it is read from names: words such as `left`, `r`, `lf`, `rh`.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]

_OTHER = {"left": "right", "right": "left", "l": "r", "r": "l", "L": "R", "R": "L"}
_SHORT = re.compile(r"([lr])([fmhb])|([fmhb])([lr])|([lr])([1-9])")


@dataclass(frozen=True, slots=True)
class SideTimes:
    """How often something happened on one side, and how long it took, in ms; None where it never did."""

    name: str
    count: int
    median: float | None
    least: float | None
    most: float | None


@dataclass(frozen=True, slots=True)
class BothSides:
    """The same thing on both sides."""

    what: str
    left: SideTimes
    right: SideTimes


@dataclass(frozen=True, slots=True)
class SideNames:
    """A sequence's name and its phases' names; `images[p]` is the phase on the other side, if it is known."""

    name: str
    phases: Sequence[str]
    images: Sequence[int | None]


def other_side(name: str) -> str | None:
    """Return the name of the same thing on the other side; None if the name speaks of no side.

    >>> other_side("lift_left"), other_side("rh_swing"), other_side("standing")
    ('lift_right', 'lh_swing', None)
    """
    words = re.split(r"([\W_]+)", name)
    turned = [_turned(word) for word in words]
    return "".join(turned) if turned != words else None


def is_left(name: str) -> bool:
    """Tell whether a name that speaks of a side speaks of the left one first."""
    for word in re.split(r"[\W_]+", name):
        if _turned(word) != word:
            return "l" in word.lower().replace("right", "")
    return False


def _turned(word: str) -> str:
    plain = word.lower()
    if plain in _OTHER:
        swapped = _OTHER[plain]
        return swapped.capitalize() if word[:1].isupper() and len(word) > 1 else _OTHER.get(word, swapped)
    if not _SHORT.fullmatch(plain):
        return word
    return word.translate(str.maketrans("lrLR", "rlRL"))


def phases_on_both_sides(
    sequences: Sequence[SideNames], times: Sequence[Sequence[Numbers]]
) -> list[BothSides]:
    """Set the times of each phase beside those of its image on the other side.

    times[s][p]: how long each finished stay in phase p of sequence s took, ms. A phase's image is the one
    that the walk names, else the one whose name is the other side's; with a sequence for each leg it is the
    same phase of the other leg.
    """
    found = []
    for s, sequence in enumerate(sequences):
        for p, name in enumerate(sequence.phases):
            image = _image(sequence, p)
            if image is not None and (is_left(name), -p) > (is_left(sequence.phases[image]), -image):
                other = sequence.phases[image]
                left, right = _took(name, times[s][p]), _took(other, times[s][image])
                found.append(BothSides(f"time in {name} / {other}", left, right))
    names = [sequence.name for sequence in sequences]
    for s, sequence in enumerate(sequences):
        turned = other_side(sequence.name)
        if turned is None or turned not in names or not is_left(sequence.name):
            continue
        o = names.index(turned)
        for p, name in enumerate(sequence.phases):
            if name in sequences[o].phases:
                q = list(sequences[o].phases).index(name)
                left, right = _took(sequence.name, times[s][p]), _took(turned, times[o][q])
                found.append(BothSides(f"time in {name}", left, right))
    return [pair for pair in found if pair.left.count or pair.right.count]


def feet_on_both_sides(feet: Iterable[tuple[str, Numbers, Numbers]]) -> list[BothSides]:
    """Set beside each other how long the feet of a pair stood and swung, and how long their steps took.

    A step takes from the touch of the other foot to the touch of this one, if the two take turns (step time:
    common practice in gait analysis). feet: of each foot its name and when it came down and left the ground,
    ms, both (n,). What was cut off by the start or end of the run does not count.
    """
    known = {name: (down, up) for name, down, up in feet}
    found = []
    for name, (down, up) in known.items():
        turned = other_side(name)
        if turned is None or turned not in known or not is_left(name):
            continue
        theirs = known[turned]
        for what, mine, others in (
            ("time on the ground", _stood(down, up), _stood(*theirs)),
            ("time in the air", _swung(down, up), _swung(*theirs)),
            ("step from touch to touch", _stepped(theirs[0], down), _stepped(down, theirs[0])),
        ):
            found.append(BothSides(f"{what}, {name} / {turned}", _took(name, mine), _took(turned, others)))
    return [pair for pair in found if pair.left.count or pair.right.count]


def _image(sequence: SideNames, phase: int) -> int | None:
    if sequence.images[phase] is not None:
        return sequence.images[phase]
    turned = other_side(sequence.phases[phase])
    names = list(sequence.phases)
    return names.index(turned) if turned is not None and turned in names else None


def _stood(down: Numbers, up: Numbers) -> Numbers:
    return (up - down)[1:-1]  # the first and the last time may have been cut off


def _swung(down: Numbers, up: Numbers) -> Numbers:
    return down[1:] - up[:-1]


def _stepped(other: Numbers, own: Numbers) -> Numbers:
    """Give the times from the other foot's last touch to each touch; the first of each may be no touch."""
    touches, before = own[1:], own[:-1]
    last = np.searchsorted(other, touches, side="left") - 1
    since = other[np.maximum(last, 0)] if len(other) else np.zeros(len(touches))
    turns = (last >= 1) & (since > before)
    return np.asarray((touches - since)[turns], np.float64)


def _took(name: str, times: Numbers) -> SideTimes:
    if not len(times):
        return SideTimes(name, 0, None, None, None)
    return SideTimes(name, len(times), float(np.median(times)), float(times.min()), float(times.max()))
