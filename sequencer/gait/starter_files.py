"""The machine file to start from, and what both kinds of walk share."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

LONGEST_LINE: Final = 100


@dataclass(frozen=True, slots=True)
class Starter:
    """What is known about the machine: its legs, its joints (the last one lifts) and its kinds of sensors."""

    name: str
    legs: tuple[str, ...]
    joints: tuple[str, ...]
    sensors: frozenset[str]
    order: tuple[str, ...] = ()  # in which the legs step, if one at a time

    @property
    def sways(self) -> bool:
        """Two legs: the weight is shifted by a joint of the whole machine."""
        return len(self.legs) == 2

    @property
    def own_joints(self) -> tuple[str, ...]:
        """The joints that each leg has."""
        return self.joints[1:] if self.sways else self.joints

    @property
    def lift(self) -> str:
        """The joint that lifts a foot."""
        return self.joints[-1]

    @property
    def still(self) -> tuple[str, ...]:
        """The joints that the walk holds where they are."""
        return self.own_joints[:-1] if self.sways else self.own_joints[1:-1]

    @property
    def tilts(self) -> tuple[str, ...]:
        """The tilt sensors of the body."""
        if "tilt" not in self.sensors:
            return ()
        return ("body_roll",) if self.sways else ("body_roll", "body_pitch")


def flow(pairs: Iterable[tuple[str, str]]) -> str:
    """Spell a YAML mapping on one line."""
    return "{" + ", ".join(f"{key}: {value}" for key, value in pairs) + "}"


def each_leg(starter: Starter, indent: str) -> str:
    """Spell the line that repeats a block for each leg."""
    return f"{indent}for_each: {{leg: [{', '.join(starter.legs)}]}}\n"


def set_lines(pairs: Iterable[tuple[str, str]], remark: str = "") -> str:
    """Spell what a phase sets, on one line if it is short, with a remark behind."""
    pairs = list(pairs)
    remark = f"   # {remark}" if remark else ""
    line = f"    set: {flow(pairs)}{remark}"
    if len(line) <= LONGEST_LINE + 20:  # a remark may stick out
        return line + "\n"
    return f"    set:{remark}\n" + "".join(f"      {key}: {value}\n" for key, value in pairs)


def list_lines(key: str, names: Iterable[str], indent: str) -> str:
    """Spell a list of names, on one line if it is short."""
    names = list(names)
    line = f"{indent}{key}: [{', '.join(names)}]"
    if len(line) <= LONGEST_LINE:
        return line + "\n"
    return f"{indent}{key}:\n" + "".join(f"{indent}  - {name}\n" for name in names)


def guard_lines(key: str, comparisons: list[str], indent: str) -> str:
    """Spell a guard that wants all of these comparisons."""
    if len(comparisons) == 1:
        return f"{indent}{key}: {comparisons[0]}\n"
    return f"{indent}{key}:\n{indent}  all:\n" + "".join(f"{indent}    - {c}\n" for c in comparisons)


def watched_text(s: Starter) -> str:
    """Spell what is watched in every phase."""
    text = (
        "\nanywhere:   # watched in every phase, in this order\n"
        "  - {to: safe, when: {any: [{event: halt}, {not: {switch: motors}}]}}\n"
    )
    for name in s.tilts:
        tilted = f"{{any: [{{lost: {name}}}, {{signal: {name}, outside: [-25 deg, 25 deg]}}]}}"
        text += f"  - {{to: safe, when: {tilted}}}\n"
    if "battery" in s.sensors:
        text += "  - {to: safe, when: {signal: battery, below: 10 V}, hold: 2 s}\n"
    return text


def machine_text(s: Starter) -> str:
    """Write the machine file."""
    return (
        f"# What {s.name} can measure and command; its walk is in {s.name}.gait.yaml.\n"
        "# Every number is a guess to start from: measure your machine and write its own numbers here.\n"
        "# CAUTION: it moves. First runs hoisted or on a stand, hands clear, slowly, a switch in the\n"
        "# motors' supply within reach: no stop in a program replaces it.\n"
        "# For completion in an editor: sequencer schema machine > machine.schema.json, remove one #:\n"
        "# # yaml-language-server: $schema=machine.schema.json\n"
        f"machine: {s.name}\n"
        f"about: {len(s.legs)} legs\n"
        "tick: 10 ms   # the controller takes one step of its work this often\n"
        "\n"
        "# span: what the sensor can read. every: the time between two samples. noise: standard deviation.\n"
        "# lost_after: silent for longer than this, it counts as lost and no guard on it is true.\n"
        "# For raw counts add: scale: {counts: [102, 861], reads: [0, 60]}. To trim a zero: zero: 0.6 deg.\n"
        "signals:\n" + _signals(s) + "\n"
        "events: [go, halt]    # true for the one tick in which they come\n"
        "switches: [motors]    # held\n"
        "# A radio remote may fall silent. If yours can, say what it carries:\n"
        "# remote: {carries: [go, halt, motors], every: 100 ms, lost_after: 500 ms}\n"
        "\n"
        "# rate: how fast the target is approached. followed_by: what measures that it was reached.\n"
        "setpoints:\n" + _setpoints(s)
    )


def _signals(s: Starter) -> str:
    tilt = "unit: deg, span: [-45, 45], every: 20 ms, noise: 0.2 deg, lost_after: 100 ms"
    lines = ""
    if s.sways and s.tilts:
        lines += f"  <leg>_leg_roll:\n{each_leg(s, '    ')}    {_block(tilt)}"
    elif s.sways:
        lines += f"  {s.joints[0]}_at: {{{tilt}}}\n"
    for name in s.tilts:
        lines += f"  {name}: {{{tilt}}}\n"
    for joint in s.own_joints:
        about = "unit: deg, span: [-10, 70], every: 10 ms, noise: 0.3 deg, lost_after: 100 ms"
        lines += f"  <leg>_{joint}_at:\n{each_leg(s, '    ')}    {_block(about)}"
    if "load" in s.sensors:
        about = "unit: N, span: [0, 200], every: 10 ms, noise: 1 N, lost_after: 100 ms"
        lines += f"  <leg>_load:\n{each_leg(s, '    ')}    {_block(about)}"
    if "battery" in s.sensors:
        lines += "  battery: {unit: V, span: [9, 12.6], every: 100 ms, noise: 0.05 V}\n"
    return lines


def _block(pairs: str) -> str:
    """Turn ``a: 1, b: [1, 2], c: 3`` into lines of a block."""
    parts: list[str] = []
    for piece in pairs.split(", "):
        if parts and parts[-1].count("[") > parts[-1].count("]"):
            parts[-1] += ", " + piece
        else:
            parts.append(piece)
    return "\n    ".join(parts) + "\n"


def _setpoints(s: Starter) -> str:
    lines = ""
    if s.sways:
        followers = flow((f"{leg}_leg_roll", "0 deg") for leg in s.legs) if s.tilts else f"{s.joints[0]}_at"
        lines += (
            f"  {s.joints[0]}:   # leans the whole machine; to the right is positive\n"
            "    unit: deg\n    span: [-20, 20]\n    rate: 15 deg/s\n    start: 0 deg\n"
            f"    followed_by: {followers}\n"
        )
    for joint in s.own_joints:
        remark = "   # lifts the foot; 0 deg is on the ground" if joint == s.lift else ""
        lines += (
            f"  <leg>_{joint}:{remark}\n{each_leg(s, '    ')}"
            "    unit: deg\n    span: [0, 60]\n    rate: 60 deg/s\n    start: 0 deg\n"
            f"    followed_by: <leg>_{joint}_at\n"
        )
    return lines
