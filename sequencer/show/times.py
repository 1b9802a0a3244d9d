"""How long phases take, as a table with bars, and as data."""

from sequencer.check.durations import Duration, durations, round_ms
from sequencer.plan.tables import Plan
from sequencer.plan.words import ms_words
from sequencer.show.text import PLAIN, Style, clean, table

BAR = 30  # characters for the time until the timeout
NOTE = (
    "usual: parameters as they stand, joints follow at once; worst: farthest targets and starts, some lag\n"
    "# usual, + worst, . until the timeout"
)


def times_text(plan: Plan, style: Style = PLAIN) -> str:
    """Write a table for each sequence: usual and worst time, timeout, a bar; below it the round."""
    found = durations(plan)
    blocks = []
    for index, sequence in enumerate(plan.sequences):
        rows = [
            (
                clean(sequence.phases[d.phase].name),
                _ms(d.usual_ms),
                _ms(d.worst_ms),
                _ms(d.timeout_ms),
                bar(d),
            )
            for d in found
            if d.sequence == index
        ]
        top, *lines = table(("phase", "usual", "worst", "timeout", ""), rows)
        title = f"times of {clean(sequence.name)}" if len(plan.sequences) > 1 else "times"
        whole = round_ms(plan, found, index)
        lines += [f"a round takes {ms_words(round(whole))}"] if whole is not None else []
        blocks.append("\n".join([style(title, "bold"), "  " + style(top, "dim"), *("  " + x for x in lines)]))
    return "\n\n".join([*blocks, style(NOTE, "dim")])


def _ms(ms: float | None) -> str:
    return "" if ms is None else ms_words(round(ms))


def bar(duration: Duration) -> str:
    """Draw a phase's time until its timeout; nothing where either is not known."""
    if duration.timeout_ms is None or duration.usual_ms is None or duration.worst_ms is None:
        return ""
    usual, worst = (
        min(BAR, round(BAR * ms / duration.timeout_ms)) for ms in (duration.usual_ms, duration.worst_ms)
    )
    return "#" * usual + "+" * max(0, worst - usual) + "." * (BAR - max(usual, worst))


def times_data(plan: Plan) -> list[dict[str, object]]:
    """Give the same as plain data, in milliseconds; None where it is not known."""
    return [
        {
            "sequence": plan.sequences[d.sequence].name,
            "phase": plan.sequences[d.sequence].phases[d.phase].name,
            "usual_ms": d.usual_ms,
            "worst_ms": d.worst_ms,
            "timeout_ms": d.timeout_ms,
        }
        for d in durations(plan)
    ]
