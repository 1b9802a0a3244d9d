"""How fast a machine stops, as a table and as data."""

from dataclasses import asdict

from sequencer.check.stopping import stopping
from sequencer.plan.tables import Plan
from sequencer.plan.words import ms_words
from sequencer.show.text import PLAIN, Style, clean, table

NOTE = (
    "the most time from a phase into a stop phase: after the operator's event or switch arrived, after a\n"
    "signal fell silent (the slowest whose loss leads there), by the timeouts if nothing else happens"
)


def stopping_text(plan: Plan, style: Style = PLAIN) -> str:
    """Write a row for each phase that is no stop phase."""
    rows = []
    for found in stopping(plan):
        sequence = plan.sequences[found.sequence]
        name = sequence.phases[found.phase].name
        lost = _time(plan, found.lost) + (f" ({clean(found.lost_what)})" if found.lost is not None else "")
        rows.append(
            (
                clean(name if len(plan.sequences) == 1 else f"{sequence.name}.{name}"),
                _time(plan, found.operator),
                lost,
                _time(plan, found.timeout),
            )
        )
    top, *lines = table(("phase", "operator", "lost signal", "timeouts"), rows)
    body = ["  " + style(top, "dim"), *("  " + line for line in lines)]
    return "\n".join([style("into a stop phase", "bold"), *body, "", style(NOTE, "dim")])


def _time(plan: Plan, ticks: int | None) -> str:
    return "no way" if ticks is None else ms_words(ticks * plan.tick_ms)


def stopping_data(plan: Plan) -> list[dict[str, object]]:
    """Give the same as plain data, in ticks; None where there is no way."""
    found = []
    for each in stopping(plan):
        sequence = plan.sequences[each.sequence]
        names = {"sequence": sequence.name, "phase": sequence.phases[each.phase].name}
        found.append({**asdict(each), **names})
    return found
