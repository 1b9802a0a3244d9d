"""`sequencer plan`: the tables that a gait comes down to."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

import click

from sequencer.cli.options import gait_argument, json_option, machine_option, out, style, verb

if TYPE_CHECKING:
    from sequencer.plan.tables import Plan


@verb("plan", "sequencer plan stork.gait.yaml --json")
@gait_argument
@machine_option
@click.option("--times", is_flag=True, help="How long the phases take: usually, at worst, until the timeout.")
@click.option("--stops", is_flag=True, help="How fast each phase gets into a stop phase, and by what.")
@json_option
def command(gait: str, machine: str | None, times: bool, stops: bool, as_json: bool) -> int:
    """Print what a gait comes down to, with mirror, for_each, parts and defaults written out.

    The meaning is a hash of all names and numbers: two gaits with the same one behave the same.
    """
    from sequencer.plan.build import load_plan

    plan = load_plan(gait, machine)
    if as_json:
        from sequencer.plan.dump import as_data
        from sequencer.show.jsonout import document

        data: dict[str, object] = {"plan": as_data(plan)}
        if times:
            from sequencer.show.times import times_data

            data["times"] = times_data(plan)
        if stops:
            from sequencer.show.stopping import stopping_data

            data["stops"] = stopping_data(plan)
        out(document("plan", data))
    elif times or stops:
        out("\n\n".join(_asked_for(plan, times=times, stops=stops)))
    else:
        from sequencer.show.plans import plan_text

        out(plan_text(plan, style()))
    return 0


def _asked_for(plan: "Plan", *, times: bool, stops: bool) -> Iterator[str]:
    if times:
        from sequencer.show.times import times_text

        yield times_text(plan, style())
    if stops:
        from sequencer.show.stopping import stopping_text

        yield stopping_text(plan, style())
