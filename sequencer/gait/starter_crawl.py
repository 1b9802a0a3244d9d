"""A first walk on three or more legs: one leg steps at a time, then all push the body forward."""

from sequencer.gait.starter_files import Starter, guard_lines, list_lines, set_lines, watched_text


def crawl_text(s: Starter) -> str:
    """Write the gait file."""
    return _head(s) + _phases(s) + watched_text(s) + _rules(s)


def _swing(s: Starter) -> str | None:
    return s.joints[0] if len(s.joints) > 1 else None


def _head(s: Starter) -> str:
    swing = _swing(s)
    stride = "  stride: {unit: deg, value: 20, span: [5, 40]}      # how far a leg swings forward\n"
    return (
        f"# The walk of {s.name}; what it can measure and command is in {s.name}.machine.yaml.\n"
        f"# Every number is a guess to start from. Next: sequencer check {s.name}.gait.yaml\n"
        "# For completion in an editor: sequencer schema gait > gait.schema.json, then remove one #:\n"
        "# # yaml-language-server: $schema=gait.schema.json\n"
        f"gait: {s.name}_walk\n"
        f"about: {'A crawl, one leg at a time' if swing else 'Stepping on the spot, one leg at a time'}\n"
        f"machine: {s.name}.machine.yaml\n"
        "\nparameters:   # may be trimmed at the bench, within their span\n"
        "  lift_angle: {unit: deg, value: 30, span: [10, 50]}  # how far a foot is lifted\n"
        + (stride if swing else "")
        + "counters: [steps]\n"
        "\ndefaults:\n"
        "  timeout: {after: 5 s, to: safe}   # a fault: the walk itself never waits for time\n"
    )


def _phases(s: Starter) -> str:
    swing, lift = _swing(s), s.lift
    still = [(f"{leg}_{joint}", "0 deg") for joint in s.joints for leg in s.legs]
    down = [(f"{leg}_{lift}", "0 deg") for leg in s.legs]
    kept = [f"{leg}_{joint}" for joint in s.joints[:-1] for leg in s.legs]
    after = [*(f"lift_{leg}" for leg in s.order[1:]), "push" if swing else f"lift_{s.order[0]}"]
    return (
        "\nphases:\n"
        "  standing:\n"
        "    rest: true\n" + set_lines(still) + "    leave:\n"
        f"      - {{to: lift_{s.order[0]}, when: {{all: [{{event: go}}, {{switch: motors}}]}}}}\n"
        "  lift_<leg>:\n"
        f"    for_each: {{leg: [{', '.join(s.order)}]}}   # in the order in which they step\n"
        "    count: [steps]\n"
        f"    set: {{<leg>_{lift}: lift_angle}}\n"
        + _leave(f"{'carry' if swing else 'lower'}_<leg>", f"<leg>_{lift}")
        + (_carry(s, swing) if swing else "")
        + "  lower_<leg>:\n"
        "    for_each:\n"
        + list_lines("leg", s.order, "      ")
        + list_lines("after", after, "      ")
        + f"    set: {{<leg>_{lift}: 0 deg}}\n"
        + _leave("<after>", f"<leg>_{lift}")
        + (_push(s, swing) if swing else "")
        + "  safe:\n"
        "    stop: 1   # stop category 1 of IEC 60204-1: come to a stop, then drives off\n"
        + set_lines(down, "all feet down, where they are")
        + (list_lines("keep", kept, "    ") if kept else "")
        + "    leave:\n"
        "      - {to: standing, when: {all: [{event: go}, {switch: motors}]}}\n"
    )


def _leave(to: str, setpoint: str) -> str:
    return (
        "    leave:\n"
        f"      - to: {to}\n"
        f"        when: {{at_target: {setpoint}, tolerance: 3 deg}}\n"
        "        hold: 2 samples   # fresh ones: a dead sensor can't satisfy it\n"
    )


def _carry(s: Starter, swing: str) -> str:
    return (
        "  carry_<leg>:\n"
        f"    for_each: {{leg: [{', '.join(s.order)}]}}\n"
        f"    set: {{<leg>_{swing}: stride}}\n" + _leave("lower_<leg>", f"<leg>_{swing}")
    )


def _push(s: Starter, swing: str) -> str:
    behind = [f"{{at_target: {leg}_{swing}, tolerance: 3 deg}}" for leg in s.legs]
    return (
        "  push:   # all feet are down: swinging all legs back carries the body forward\n"
        + set_lines((f"{leg}_{swing}", "0 deg") for leg in s.legs)
        + f"    leave:\n      - to: lift_{s.order[0]}\n"
        + guard_lines("when", behind, "        ")
        + "        hold: 2 samples\n"
    )


def _rules(s: Starter) -> str:
    text = "\nrules:   # must hold at every tick\n"
    for leg in s.legs:
        others = [f"{{signal: {o}_{s.lift}_at, below: 6 deg}}" for o in s.legs if o != leg]
        text += (
            f"  - name: only {leg} is off the ground\n"
            f"    while: {{signal: {leg}_{s.lift}_at, above: 6 deg}}\n"
        ) + guard_lines("must", others, "    ")
    if "load" in s.sensors:
        text += (
            "  - name: no load on the lifted foot <leg>\n"
            f"    for_each: {{leg: [{', '.join(s.legs)}]}}\n"
            f"    while: {{signal: <leg>_{s.lift}_at, above: 6 deg}}\n"
            "    must: {signal: <leg>_load, below: 30 N}\n"
        )
    return text
