"""The plots' colours, held against published measures: they can be read, and told apart without colour.

Contrast: WCAG 2.2, success criteria 1.4.3 and 1.4.11, with its formula for relative luminance. Colour-blind
eyes: Machado, Oliveira & Fernandes, "A Physiologically-based Model for Simulation of Color Vision
Deficiency", IEEE TVCG 15(6), 2009, the matrices for severity 1.0 (as we remember them), in linear RGB. Colour
distance: CIE 1976 L*a*b* (ISO/CIE 11664-4), in which about 2 is just seen; 15 or more between thin lines is
common practice.
"""

import itertools

import numpy as np
import pytest
from numpy.typing import NDArray

from sequencer.show.plot import ink

DEFICIENCIES = {
    "protanopia": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deuteranopia": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritanopia": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}
LINES = [*ink.SIGNALS, ink.SETPOINT, ink.TARGET]


def linear(colour: str) -> NDArray[np.float64]:
    coded = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    return np.asarray(np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4))


def contrast(one: str, other: str) -> float:
    low, high = sorted(float(linear(c) @ [0.2126, 0.7152, 0.0722]) for c in (one, other))
    return (high + 0.05) / (low + 0.05)


def lab(rgb: NDArray[np.float64]) -> NDArray[np.float64]:
    to_xyz = [
        [0.4124564, 0.3575761, 0.1804375],
        [0.2126729, 0.7151522, 0.0721750],
        [0.0193339, 0.119192, 0.9503041],
    ]
    share = np.array(to_xyz) @ rgb / [0.95047, 1.0, 1.08883]
    x, y, z = np.where(share > 0.008856, np.cbrt(share), 7.787 * share + 16 / 116)
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


def apart(one: str, other: str, deficiency: str) -> float:
    seen = [lab(np.clip(np.array(DEFICIENCIES[deficiency]) @ linear(c), 0, 1)) for c in (one, other)]
    return float(np.linalg.norm(seen[0] - seen[1]))


def test_the_measure_agrees_with_what_the_guideline_says_of_black_on_white() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)  # the well-known lightest grey
    assert lab(linear("#ffffff"))[0] == pytest.approx(100, abs=0.01)


@pytest.mark.parametrize("stroke", LINES, ids=lambda stroke: stroke.colour)
def test_every_line_stands_out_from_the_paper(stroke: ink.Stroke) -> None:
    assert contrast(stroke.colour, ink.SHEET) >= 3


@pytest.mark.parametrize("colour", [ink.TEXT, ink.SOFT, ink.ALARM])
def test_text_can_be_read(colour: str) -> None:
    assert contrast(colour, ink.SHEET) >= 4.5


@pytest.mark.parametrize("colour", [*ink.PHASES, ink.STOP])
def test_names_can_be_read_on_their_phase(colour: str) -> None:
    assert contrast(ink.TEXT, colour) >= 4.5


@pytest.mark.parametrize("deficiency", DEFICIENCIES)
def test_lines_that_follow_each_other_differ_for_colour_blind_eyes(deficiency: str) -> None:
    for one, other in itertools.pairwise(ink.SIGNALS):
        assert apart(one.colour, other.colour, deficiency) >= 15, (one, other)


def test_no_two_lines_have_the_same_dash_and_width() -> None:
    assert len({(stroke.dash, stroke.width) for stroke in LINES}) == len(LINES)


def test_feet_differ_in_lightness_and_hatch() -> None:
    assert contrast(ink.LEFT_FOOT, ink.RIGHT_FOOT) >= 2
    assert len(set(ink.FOOT_HATCH.values())) == len(ink.FOOT_HATCH)
    assert len(set(ink.LETTERS.values())) == len(ink.LETTERS)
