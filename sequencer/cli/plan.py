"""`sequencer plan`: the tables that a gait comes down to."""

import click

from sequencer.cli.options import gait_argument, json_option, machine_option, out, style, verb


@verb("plan", "sequencer plan stork.gait.yaml --json")
@gait_argument
@machine_option
@click.option("--times", is_flag=True, help="How long the phases take: usually, at worst, until the timeout.")
@json_option
def command(gait: str, machine: str | None, times: bool, as_json: bool) -> int:
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
        out(document("plan", data))
    elif times:
        from sequencer.show.times import times_text

        out(times_text(plan, style()))
    else:
        from sequencer.show.plans import plan_text

        out(plan_text(plan, style()))
    return 0
