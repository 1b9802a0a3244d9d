"""Writing down what the body really did, in the columns of `sequencer.trace.truth`."""

import numpy as np
from numpy.typing import NDArray

from sequencer.rehearse.body import Body, Link, Vector
from sequencer.rehearse.stance import Stance
from sequencer.trace.truth import SUPPORT_MARGIN, clearance_column, contact_column, link_columns
from sequencer.trace.write import Beside

_MM = 1000.0
_FINE, _COARSE = 2, 1  # decimals of a millimetre: feet and margin, drawn links


class Notes:
    """Takes the stance of one tick after another; call `note` at each tick, before it acts."""

    def __init__(self, body: Body) -> None:
        self._feet = [(foot, body.links[foot].name) for foot in body.feet]
        self._lines = drawn(body)
        self._of = [number for _, number, *_ in self._lines for _ in range(2)]
        self._points = np.array([point for *_, begin, end in self._lines for point in (begin, end)])
        self._rows: list[list[float]] = []
        self._ends: list[NDArray[np.float32]] = []

    def note(self, stance: Stance) -> None:
        """Note one tick."""
        clear = [_MM * stance.clearance(foot) for foot, _ in self._feet]
        margin = np.nan if stance.margin is None else _MM * stance.margin
        self._rows.append([*clear, margin, *(float(stance.carries(foot)) for foot, _ in self._feet)])
        at, turn = stance.places()
        ends = at[self._of, 1:] + np.einsum("pij,pj->pi", turn[self._of, 1:], self._points)
        self._ends.append((_MM * ends).astype(np.float32).reshape(-1))

    def beside(self) -> Beside:
        """Give the columns with a row for each tick."""
        names = [clearance_column(name) for _, name in self._feet]
        names.append(SUPPORT_MARGIN)
        names += [contact_column(name) for _, name in self._feet]
        for name, *_ in self._lines:
            names += link_columns(name)
        fine = np.array(self._rows, np.float64).round(_FINE)
        coarse = np.array(self._ends, np.float64).round(_COARSE)
        values = np.hstack([fine, coarse]).astype(np.float32)
        values[values == 0] = 0  # no -0
        return Beside(tuple(names), values)


def drawn(body: Body) -> list[tuple[str, int, Vector, Vector]]:
    """List the lines of the drawing: name, the link they belong to, and from where to where in its frame.

    A box is drawn from its lower to its upper side and, with two links or more on it, as NAME_beam from the
    place of the leftmost to that of the rightmost; a sole as its line on the floor, and NAME_post from the
    joint down to it.
    """
    lines: list[tuple[str, int, Vector, Vector]] = []
    for number, link in enumerate(body.links):
        lines.append((link.name, number, *_line(link)))
        if link.form == "sole":
            lines.append((f"{link.name}_post", number, (0.0, 0.0, 0.0), (0.0, 0.0, -link.size[2])))
        sides = sorted((other.at for other in body.links if other.on == number), key=lambda at: at[1])
        if len(sides) > 1 and sides[0][1] < sides[-1][1]:
            lines.append((f"{link.name}_beam", number, sides[-1], sides[0]))
    return lines


def _line(link: Link) -> tuple[Vector, Vector]:
    first, second, third = link.size
    if link.form == "rod":
        return (0.0, 0.0, 0.0), (0.0, 0.0, -third)
    if link.form == "sole":
        return (0.0, second, -third), (0.0, -second, -third)
    if link.form == "ball":
        return (0.0, 0.0, 0.0), (0.0, 0.0, -first)
    x, y, z = link.centre
    return (x, y, z - third), (x, y, z + third)
