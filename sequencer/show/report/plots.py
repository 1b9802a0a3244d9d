"""Which columns of a run of a gait are drawn together: a setpoint with what follows it, the rest by unit."""

from sequencer.plan.tables import Plan
from sequencer.plan.words import given_unit
from sequencer.show.report.columns import RunColumns
from sequencer.show.report.document import PlotShown
from sequencer.show.text import clean

MOST_LINES = 6  # of one plot


def plots_of(plan: Plan, columns: RunColumns) -> list[PlotShown]:
    """List the plots in the order in which they stand on the page."""
    plots: list[PlotShown] = []
    shown: set[int] = set()
    for i, setpoint in enumerate(plan.setpoints):
        followers = [follower.signal for follower in setpoint.followers]
        shown.update(followers)
        lines = [columns.setpoint + i, columns.target + i, *(columns.signal + f for f in followers)]
        title = f"{setpoint.name} and what follows it" if followers else f"{setpoint.name}, commanded"
        plots.append(PlotShown(clean(title), setpoint.unit, lines))
    others = [i for i in range(len(plan.signals)) if i not in shown]
    in_loops = {loop.signal for loop in plan.loops}
    free = [i for i in others if i not in in_loops]
    for i in free:
        signal = plan.signals[i]
        plots.append(PlotShown(clean(signal.name), signal.unit, [columns.signal + i]))
    held = [(plan.signals[i].unit, columns.signal + i) for i in others if i in in_loops]
    plots += _by_unit("signals of loops", held)
    plots += _by_unit(
        "what loops add", [(given_unit(plan, i), columns.loop + i) for i in range(len(plan.loops))]
    )
    plots += _by_unit("outputs", [("", columns.output + i) for i in range(len(plan.outputs))])
    return plots


def _by_unit(title: str, columns: list[tuple[str, int]]) -> list[PlotShown]:
    units = dict.fromkeys(unit for unit, _ in columns)
    found = []
    for unit in units:
        lines = [column for its, column in columns if its == unit]
        for start in range(0, len(lines), MOST_LINES):
            found.append(PlotShown(title, unit, lines[start : start + MOST_LINES]))
    return found
