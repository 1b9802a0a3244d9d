"""How long a phase takes, on its card: a bar that ends at the timeout, and the same in words."""

from sequencer.check.durations import Duration
from sequencer.plan.words import ms_words
from sequencer.show.diagram.blocks import SMALL, Sheet
from sequencer.show.diagram.ink import BLACK, FAULT, GREY, LIGHT, WHITE, Box, Line, Pen

HEIGHT = 6.0
STEP_MS = 10  # the bar is no stopwatch


def time_bar(sheet: Sheet, duration: Duration) -> None:
    """Paint the usual time black, up to the worst in grey, the rest until the timeout white."""
    if duration.usual_ms is None:
        return
    usual_ms, worst_ms = duration.usual_ms, duration.worst_ms or duration.usual_ms
    sheet.y += 6
    if duration.timeout_ms is not None:
        left, width = sheet.left, sheet.right - sheet.left
        usual, worst = (width * min(1.0, ms / duration.timeout_ms) for ms in (usual_ms, worst_ms))
        sheet.items += [
            Box(left, sheet.y, width, HEIGHT, fill=WHITE, pen=Pen(GREY, 0.7)),
            Box(left, sheet.y, max(usual, worst), HEIGHT, fill=LIGHT, pen=Pen(GREY, 0.7)),
            Box(left, sheet.y, usual, HEIGHT, fill=BLACK),
            Line(((left + width, sheet.y - 2), (left + width, sheet.y + HEIGHT + 2)), Pen(FAULT, 1.5)),
        ]
        sheet.y += HEIGHT + 3
    worst_words = f", at worst {_rounded(worst_ms)}" if worst_ms > usual_ms else ""
    sheet.write(f"takes {_rounded(usual_ms)}{worst_words}", size=SMALL, colour=GREY)


def _rounded(ms: float) -> str:
    return ms_words(round(ms / STEP_MS) * STEP_MS)
