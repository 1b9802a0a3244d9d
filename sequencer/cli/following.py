"""Options of the follow mode, in which signals follow their setpoints and no recording is needed."""

import functools
from collections.abc import Callable, Iterable
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any, TypeVar, cast

import click

from sequencer.base.errors import MisuseError

if TYPE_CHECKING:
    from sequencer.plan.tables import Plan
    from sequencer.trace.follow import FollowOptions

HELPING = "helping"  # with --on: somebody helps by hand

F = TypeVar("F", bound=Callable[..., Any])

_FAULTS = {
    "limit": "limit",
    "offset": "offset",
    "slack": "slack",
    "stuck": "stuck_from_ms",
    "dies": "dies_at_ms",
}


@dataclass(frozen=True, slots=True)
class Following:
    """The options as they were typed."""

    lasts: str | None
    seed: int | None
    faults: tuple[str, ...]
    presses: tuple[str, ...]
    on: tuple[str, ...]
    off: tuple[str, ...]

    @property
    def lasts_ms(self) -> int:
        """How long to follow."""
        return milliseconds(self.lasts or "60s")

    def refuse(self, *, but: tuple[str, ...]) -> None:
        """Raise MisuseError if an option was given that has no use without the follow mode."""
        given = {
            "--for": self.lasts,
            "--seed": self.seed,
            "--fault": self.faults,
            "--press": self.presses,
            "--on": self.on,
            "--off": self.off,
        }
        names = [name for name, value in given.items() if value not in (None, ()) and name not in but]
        if names:
            verb = "belongs" if len(names) == 1 else "belong"
            raise MisuseError(f"{' and '.join(names)} {verb} to a run in which the machine follows")

    def options(self, plan: "Plan") -> "FollowOptions":
        """Turn the texts into what the follow mode takes."""
        from sequencer.trace.follow import FollowOptions
        from sequencer.trace.layout import nearest
        from sequencer.trace.operator import default_switches

        known = [s.name for s in plan.switches]
        helped = HELPING in self.on and HELPING not in known
        for name in self.on:  # those that are off are looked at by the plant
            if name not in known and not (helped and name == HELPING):
                raise MisuseError(f"there is no switch {name}", hint=nearest(name, known))
        usual = default_switches(plan)
        switches_off = {s.name for i, s in enumerate(plan.switches) if not usual >> i & 1}
        pressed = split_pairs(self.presses, "EVENT=TIME, such as go=1s")
        options = FollowOptions(
            seed=self.seed or 0,
            operator=tuple((milliseconds(at), event) for event, at in pressed) or None,
            switches_off=frozenset((switches_off | set(self.off)) - set(self.on)),
            helped=helped,
        )
        return replace(options, **_planted(self.faults))


def _planted(faults: Iterable[str]) -> dict[str, Any]:
    planted: dict[str, dict[str, Any]] = {}
    for name, amount in split_once(faults, "SIGNAL:WHAT=AMOUNT, such as left_knee:limit=20mm").items():
        signal, _, what = name.partition(":")
        if not what:
            hint = f"--fault {signal}:limit={amount}; instead of limit: {', '.join(list(_FAULTS)[1:])}"
            raise MisuseError(f"--fault {name}={amount} does not say which fault", hint=hint)
        if what not in _FAULTS:
            raise MisuseError(
                f"'{what}' is no fault that can be planted", hint=f"one of {', '.join(_FAULTS)}"
            )
        value = milliseconds(amount) if what in ("stuck", "dies") else amount
        planted.setdefault(_FAULTS[what], {})[signal] = value
    return planted


def following_options(function: F) -> Callable[..., int]:
    """Add --for, --seed, --fault, --press, --on and --off, and hand them over as one `following`."""

    @functools.wraps(function)
    def collected(**given: Any) -> int:
        names = [field.name for field in fields(Following)]
        following = Following(**{name: given.pop(name) for name in names})
        return cast("int", function(following=following, **given))

    options = [
        click.option("--for", "lasts", metavar="TIME", help="How long to follow (default 60s)."),
        click.option("--seed", type=click.IntRange(min=0), help="For the noise (default 0)."),
        click.option(
            "--fault",
            "faults",
            multiple=True,
            metavar="SIGNAL:WHAT=AMOUNT",
            help="Plant a fault: limit=11deg, offset=2deg, slack=1mm, stuck=5s (from then on) or dies=5s.",
        ),
        click.option("--press", "presses", multiple=True, metavar="EVENT=TIME", help="Default: start at 1s."),
        click.option("--on", multiple=True, metavar="SWITCH", help="Turn a switch on."),
        click.option("--off", multiple=True, metavar="SWITCH", help="Turn a switch off."),
    ]
    command: Callable[..., int] = collected
    for option in reversed(options):
        command = option(command)
    return command


def milliseconds(text: str) -> int:
    """Read a time such as 60s, 500 ms or 2 min; a bare number is in seconds."""
    from sequencer.base.quantities import Quantity, UnitError, convert, parse

    try:
        quantity = parse(text)
        ms = convert(quantity if quantity.unit else Quantity(quantity.value, "s"), "ms")
    except UnitError as error:
        raise MisuseError(f"'{text}' is not a time: {error}", hint="for example 60s, 500ms, 2min") from None
    if not 0 <= ms < 2**31:
        raise MisuseError(f"'{text}' is out of range", hint="give 0 s to 24 days")
    return round(ms)


def split_pairs(texts: Iterable[str], form: str) -> list[tuple[str, str]]:
    """Split NAME=VALUE at the first equals sign."""
    pairs = []
    for text in texts:
        name, equals, value = (part.strip() for part in text.partition("="))
        if not (name and equals and value):
            raise MisuseError(f"'{text}' is not understood", hint=f"write {form}")
        pairs.append((name, value))
    return pairs


def split_once(texts: Iterable[str], form: str) -> dict[str, str]:
    """Split NAME=VALUE, each name once."""
    pairs = split_pairs(texts, form)
    names = [name for name, _ in pairs]
    for name in names:
        if names.count(name) > 1:
            raise MisuseError(f"'{name}' is given twice", hint="give it once")
    return dict(pairs)
