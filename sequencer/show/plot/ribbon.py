"""The top of a plot: which foot was on the ground, and which phase was active."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sequencer.show.plot.ink import (
    ALARM,
    CROWD,
    EDGE,
    FOOT_HATCH,
    LEFT_FOOT,
    LETTERS,
    OTHER_FOOT,
    PHASES,
    RIGHT_FOOT,
    SHEET,
    STOP,
    TEXT,
)
from sequencer.show.report.document import Recorded, SequenceShown, Stays, Walk
from sequencer.show.report.pack import Packed, unpack
from sequencer.show.text import clip

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Floats = NDArray[np.float64]

_COLOURS = {"left": LEFT_FOOT, "right": RIGHT_FOOT, "": OTHER_FOOT}
_LETTER_PT = 4.6  # how wide a letter of the labels is, about
_LONGEST = 15  # letters of a row's name
_NARROW_PX = 1.0
_CROWDED = "||||"


@dataclass(frozen=True, slots=True)
class Row:
    """A row of the ribbon: what it is called, and what to draw in it: a foot or a sequence of a run."""

    name: str
    run: int
    foot: int | None
    sequence: int | None


def rows_of(walk: Walk, runs: Sequence[Recorded]) -> list[Row]:
    """List the rows from the top: of each run the feet, then the sequences."""
    found = []
    for number, run in enumerate(runs):
        whose = f" ({number + 1})" if len(runs) > 1 else ""
        found += [Row(f"{its.name}{whose}", number, i, None) for i, its in enumerate(run.contacts)]
        alone = len(walk.sequences) == 1
        found += [
            Row(f"{'phase' if alone else sequence.name}{whose}", number, None, s)
            for s, sequence in enumerate(walk.sequences)
        ]
    return found


@dataclass(frozen=True, slots=True)
class Scale:
    """The plot's time in seconds, and how wide it is in points and in pixels."""

    from_s: float
    to_s: float
    points: float
    pixels: int

    def wide(self, seconds: Floats) -> Floats:
        """Turn durations into pixels."""
        return seconds / max(self.to_s - self.from_s, 1e-9) * self.pixels


def draw_ribbon(
    axes: "Axes", walk: Walk, runs: Sequence[Recorded], rows: Sequence[Row], scale: Scale
) -> dict[str, str]:
    """Draw all rows; returns the numbers that stand for names of phases too long for their stretch."""
    keys: dict[str, str] = {}
    for at, row in enumerate(rows):
        run = runs[row.run]
        if row.foot is not None:
            contact = run.contacts[row.foot]
            spans, crowds = _spans(contact.from_, contact.to, scale)
            colour, hatch = _COLOURS[contact.side], FOOT_HATCH[contact.side]
            where = (at - 0.36, 0.72)
            axes.broken_barh(spans, where, linewidth=0, facecolor=colour, hatch=hatch, edgecolor=SHEET)
            axes.broken_barh(crowds, where, linewidth=0, facecolor=CROWD, hatch=_CROWDED, edgecolor=SHEET)
        elif row.sequence is not None:
            _draw_phases(axes, at, walk.sequences[row.sequence], run.stays[row.sequence], scale, keys)
    axes.set_ylim(len(rows) - 0.4, -0.6)
    axes.set_yticks(range(len(rows)), [clip(row.name, _LONGEST) for row in rows])
    axes.tick_params(axis="y", length=0)
    for side in ("top", "right", "left", "bottom"):
        axes.spines[side].set_visible(False)
    return keys


def _spans(
    start: Packed, end: Packed, scale: Scale
) -> tuple[list[tuple[float, float]], list[tuple[float, float]]]:
    """Give the stretches of a foot in the plot's time, s: those seen, and crowds of too short ones."""
    first, last = (np.asarray(unpack(part), np.float64) / 1000 for part in (start, end))
    seen = (last >= scale.from_s) & (first <= scale.to_s)
    first, last = first[seen], last[seen]
    spans: list[tuple[float, float]] = []
    crowds: list[tuple[float, float]] = []
    if not len(first):
        return spans, crowds
    apart = np.append(True, scale.wide(first[1:] - last[:-1]) > _NARROW_PX / 4)
    begins = np.flatnonzero(apart)
    for a, b in zip(begins, np.append(begins[1:], len(first)) - 1, strict=True):
        (spans if a == b else crowds).append((float(first[a]), float(last[b] - first[a])))
    return spans, crowds


def _draw_phases(
    axes: "Axes", at: int, sequence: SequenceShown, stays: Stays, scale: Scale, keys: dict[str, str]
) -> None:
    start, end, phase = (
        np.asarray(unpack(getattr(stays, part)), np.float64) for part in ("from_", "to", "phase")
    )
    start, end = start / 1000, end / 1000
    seen = np.flatnonzero((end >= scale.from_s) & (start <= scale.to_s))
    narrow = scale.wide(end - start) < _NARROW_PX
    crowd: list[tuple[float, float]] = []
    by_phase: dict[int, list[tuple[float, float]]] = {}
    for row in seen.tolist():
        span = (float(start[row]), float(end[row] - start[row]))
        if narrow[row] and crowd and scale.wide(np.array(span[0] - sum(crowd[-1]))) < _NARROW_PX:
            crowd[-1] = (crowd[-1][0], sum(span) - crowd[-1][0])
        elif narrow[row]:
            crowd.append(span)
        else:
            by_phase.setdefault(int(phase[row]), []).append(span)
    for number, spans in sorted(by_phase.items()):
        stop = sequence.phases[number].kind == "stop"
        colour = STOP if stop else PHASES[number % len(PHASES)]
        axes.broken_barh(
            spans,
            (at - 0.42, 0.84),
            facecolor=colour,
            edgecolor=EDGE,
            linewidth=0.5,
            hatch="xx" if stop else None,
        )
    if crowd:
        axes.broken_barh(
            crowd, (at - 0.42, 0.84), facecolor=CROWD, hatch=_CROWDED, edgecolor=SHEET, linewidth=0
        )
    wide = [row for row in seen.tolist() if not narrow[row]]
    _label(axes, at, sequence, [(float(start[r]), float(end[r]), int(phase[r])) for r in wide], scale, keys)


def _label(
    axes: "Axes",
    at: int,
    sequence: SequenceShown,
    stays: Sequence[tuple[float, float, int]],
    scale: Scale,
    keys: dict[str, str],
) -> None:
    """Write names into their stretches; if most do not fit, numbers, which a line below explains."""
    cut = [(max(a, scale.from_s), min(b, scale.to_s), sequence.phases[p].name) for a, b, p in stays]
    room = [(b - a) / max(scale.to_s - scale.from_s, 1e-9) * scale.points for a, b, _ in cut]
    fits = [len(name) * _LETTER_PT + 3 < width for (_, _, name), width in zip(cut, room, strict=True)]
    by_number = sum(fits) < 0.7 * len(fits)
    for (a, b, name), width, named in zip(cut, room, fits, strict=True):
        text = name
        if by_number or not named:
            text = keys.get(name, str(len(keys) + 1))
            if len(text) * _LETTER_PT + 2 > width:
                continue
            keys[name] = text
        axes.text((a + b) / 2, at, text, ha="center", va="center", fontsize=7.5, color=TEXT, clip_on=True)


def draw_troubles(axes: Sequence["Axes"], runs: Sequence[Recorded], scale: Scale) -> list[str]:
    """Draw a line through all panels at each trouble and its letter on top; returns them in words."""
    words = []
    for number, run in enumerate(runs):
        whose = f" ({number + 1})" if len(runs) > 1 else ""
        for trouble in run.troubles:
            at = trouble.at / 1000
            if not scale.from_s <= at <= scale.to_s:
                continue
            letter = LETTERS[trouble.kind]
            words.append(f"{letter}{whose}  {at:.2f} s: {trouble.words}")
            for panel in axes:
                panel.axvline(at, color=ALARM, linewidth=1.1, linestyle=(0, (2, 1.5)), zorder=4)
            axes[0].annotate(
                letter,
                (at, 1.0),
                xycoords=axes[0].get_xaxis_transform(),
                ha="center",
                va="bottom",
                fontsize=9,
                fontweight="bold",
                color=ALARM,
                annotation_clip=False,
            )
    return words
