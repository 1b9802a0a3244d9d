"""Edits that lengthen what is too short: holds, timeouts, the silence that counts as a loss."""

import math

from sequencer.base.findings import Edit
from sequencer.base.places import Place
from sequencer.plan.words import ms_words

ANSWER = 3  # fresh samples that we propose for a hold (common practice: two may be a glitch and its echo)
SPARE = 1.5  # a timeout that we propose is so much longer than what is needed
MOST_SAMPLES = 255  # of a hold


def spare_ms(needs_ms: float) -> int:
    """Return a timeout with something to spare, in whole seconds, for what needs so long."""
    return math.ceil(needs_ms * SPARE / 1000) * 1000


def hold_edit(way: Place, *, samples: int | None = None, ms: int | None = None) -> tuple[Edit, ...]:
    """Set the hold of a way out or `anywhere` entry, in fresh samples or else in ms; none if it can't be."""
    if samples is not None:
        if samples > MOST_SAMPLES:
            return ()
        return (Edit(way, "hold", f"{samples} samples", (1, samples)),)
    return (Edit(way, "hold", ms_words(ms), (0, ms)),) if ms is not None else ()


def after_edit(timeout: Place, ms: int) -> tuple[Edit, ...]:
    """Set after how long a timeout ends its phase."""
    return (Edit(timeout, "after", ms_words(ms), (0, ms)),)


def lost_after_edit(declared: Place, ms: int) -> tuple[Edit, ...]:
    """Set after how much silence a signal, or the remote, is lost."""
    return (Edit(declared, "lost_after", ms_words(ms), (0, ms), at_key=True),)
