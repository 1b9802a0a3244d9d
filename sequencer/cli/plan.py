"""`sequencer plan`: the tables that a gait comes down to."""

from sequencer.cli.options import gait_argument, json_option, machine_option, out, style, verb


@verb("plan", "sequencer plan stork.gait.yaml --json")
@gait_argument
@machine_option
@json_option
def command(gait: str, machine: str | None, as_json: bool) -> int:
    """Print what a gait comes down to, with mirror, for_each, parts and defaults written out.

    The meaning is a hash of all names and numbers: two gaits with the same one behave the same.
    """
    from sequencer.plan.build import load_plan

    plan = load_plan(gait, machine)
    if as_json:
        from sequencer.plan.dump import as_data
        from sequencer.show.jsonout import document

        out(document("plan", {"plan": as_data(plan)}))
    else:
        from sequencer.show.plans import plan_text

        out(plan_text(plan, style()))
    return 0
