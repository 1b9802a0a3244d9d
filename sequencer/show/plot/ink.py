"""Colours, lines and hatches of the plots: the report page's own on paper, told apart without colour, too.

Neighbours differ in colour, in dash and in lightness; feet differ in hatch; what troubles are is written.
"""

from dataclasses import dataclass

TEXT, SOFT, EDGE, RULE = "#1d1c19", "#57544c", "#8a867b", "#d9d5ca"
SHEET = "#ffffff"
ALARM = "#ab1f16"
GAP = "#f1efe8"

Dash = tuple[float, tuple[float, ...]]


@dataclass(frozen=True, slots=True)
class Stroke:
    """How a line is drawn; dash in multiples of the width, none for a solid line."""

    colour: str
    dash: tuple[float, ...] = ()
    width: float = 1.3


SIGNALS = (
    Stroke("#0067a3"),
    Stroke("#b04300", (5, 1.6)),
    Stroke("#00704f", (7, 1.6, 1.4, 1.6)),
    Stroke("#8a3580", (1.4, 1.4)),
    Stroke("#6b5800", (3, 1.4, 3, 1.4, 1, 1.4)),
    Stroke("#5c5c5c", (9, 2.4)),
)
SETPOINT = Stroke("#8d897e", (), 3.0)  # wide and pale, under what follows it
TARGET = Stroke("#1d1c19", (1, 2.2), 1.2)

LEFT_FOOT, RIGHT_FOOT, OTHER_FOOT = "#1d4e79", "#c9803a", "#7a766b"
FOOT_HATCH = {"left": "", "right": "////", "": "...."}
PHASES = ("#e9e6dc", "#d9e2ea", "#f4ead6", "#dfe9dc", "#eadfe8", "#f6f4ee")
STOP = "#b9b5a8"
CROWD = "#8d897e"  # phases too short to be told apart
LETTERS = {"timeout": "T", "rule": "R", "output": "O", "stop": "S", "end": "E"}


def dash_of(stroke: Stroke) -> Dash | str:
    """Give a stroke's dash as matplotlib wants it."""
    return (0, stroke.dash) if stroke.dash else "solid"
