"""A rehearsal as text for people, and as a JSON document."""

from typing import TYPE_CHECKING, Any

from sequencer.history.amounts import at, duration
from sequencer.show.jsonout import document
from sequencer.show.runs import failed
from sequencer.show.text import Style, clean, table

if TYPE_CHECKING:
    from sequencer.history.summary import Summary
    from sequencer.rehearse.run import Rehearsal

MOST_FAULTS = 3
CAUTION = (
    "a rehearsal proves nothing about hardware: the body file is a guess, and much is left out (bending, "
    "cables, rough ground, wear). First runs on a stand, hands clear, with a switch in the motors' supply."
)


def rehearsal_text(done: "Rehearsal", summary: "Summary", style: Style) -> str:
    """Write what came of a rehearsal, as lines."""
    figures = done.figures
    rows = [
        (
            clean(foot.foot),
            str(len(foot.clearance_mm)),
            _mm(foot.mean_clearance_mm),
            _mm(min(foot.clearance_mm, default=None)),
        )
        for foot in figures.feet
    ]
    lines = [style(_ended(done), "bold"), ""]
    lines += table(("foot", "steps", "clearance", "least"), rows, right=frozenset({1, 2, 3}))
    lines.append("")
    if figures.step_ms is not None:
        lines.append(f"from step to step: {duration(round(figures.step_ms))}")
    if figures.usual_margin_mm is not None:
        lines.append(
            f"support margin on one foot: {figures.usual_margin_mm:.0f} mm is usual; "
            f"5 % of the time under {figures.low_margin_mm:.0f} mm (0: it tips)"
        )
    speed = done.times_real
    lines.append(f"{speed:.0f} times real time" if speed >= 1 else f"slower than real: {speed:.2f} times")
    lines.append(f"the walk: {clean(summary.words)}")
    lines += [f"fault at {at(fault.at_ms)}: {clean(fault.words)}" for fault in summary.faults[:MOST_FAULTS]]
    if len(summary.faults) > MOST_FAULTS:
        lines.append(
            f"and {len(summary.faults) - MOST_FAULTS} faults more; `sequencer report` shows them all"
        )
    lines += ["", f"caution: {CAUTION}"]
    return "\n".join(lines)


def _ended(done: "Rehearsal") -> str:
    who = f"{clean(done.plan.name)} on the body {clean(done.body.name)}"
    if done.fallen_ms is not None:
        return f"{who} fell after {duration(done.fallen_ms)}: {done.fallen}"
    text = f"{who}: no fall in these {duration(done.lasted_ms)}, with this body and this noise"
    return f"{text}; but the walk did not get through" if failed(done.run) else text


def undriven(done: "Rehearsal") -> list[str]:
    """Say which outputs, or without outputs which followed setpoints, move nothing in the body file."""
    plan = done.plan
    driven = {drive.output for drive in done.body.drives} - {None}
    led = {drive.setpoint for drive in done.body.drives} - {None}
    idle = [output.name for i, output in enumerate(plan.outputs) if driven and i not in driven]
    if not plan.outputs:
        idle = [s.name for i, s in enumerate(plan.setpoints) if led and s.followers and i not in led]
    said = "moves nothing in the body file: the joint that it should move hangs loose"
    return [f"{clean(name)} {said}" for name in idle]


def _mm(value: float | None) -> str:
    return "-" if value is None else f"{value:.1f} mm"


def rehearsal_document(done: "Rehearsal", summary: "Summary", written: str | None) -> str:
    """Write it as a JSON document. Lengths in mm, times in ms."""
    figures = done.figures
    feet: list[dict[str, Any]] = [
        {
            "foot": foot.foot,
            "left_ms": foot.left_ms,
            "back_ms": foot.back_ms,
            "clearance_mm": foot.clearance_mm,
            "mean_clearance_mm": foot.mean_clearance_mm,
        }
        for foot in figures.feet
    ]
    return document(
        "rehearsal",
        {
            "gait": done.plan.name,
            "sha": done.plan.sha,
            "body": done.body.name,
            "lasted_ms": done.lasted_ms,
            "fell": done.fallen_ms is not None,
            "fell_ms": done.fallen_ms,
            "fell_because": done.fallen,
            "walk_failed": failed(done.run),
            "steps": figures.steps,
            "step_ms": figures.step_ms,
            "feet": feet,
            "usual_margin_mm": figures.usual_margin_mm,
            "low_margin_mm": figures.low_margin_mm,
            "times_real": done.times_real,
            "words": summary.words,
            "faults": [{"at_ms": fault.at_ms, "words": fault.words} for fault in summary.faults],
            "written": written,
            "caution": CAUTION,
        },
    )
