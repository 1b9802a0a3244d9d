"""Taking a script's items apart: keys, names, numbers and times, each wrong one with its place."""

from sequencer.base.errors import TraceError
from sequencer.base.quantities import UnitError, convert, parse
from sequencer.gait.nodes import Item, Listing, Mapping, Text, scalar
from sequencer.trace.layout import nearest

LONGEST_US = (2**31 - 1) * 1000


def fault(item: Item, message: str, expected: str, hint: str = "") -> TraceError:
    """Make the error for something in a script."""
    return TraceError(message, item.place, expected=expected, hint=hint)


def mapping(item: Item, keys: tuple[str, ...], needed: tuple[str, ...] = ()) -> dict[str, Item]:
    """Take a mapping with some of these keys, and all that are needed."""
    expected = "keys and values: " + ", ".join(keys)
    if not isinstance(item, Mapping):
        raise fault(item, "keys are needed here", expected)
    for key, _ in item.entries:
        if key.value not in keys:
            raise fault(key, f"{key.value} is not known here", expected, nearest(key.value, keys))
    found = {key.value: child for key, child in item.entries}
    for key_name in needed:
        if key_name not in found:
            raise fault(item, f"{key_name} is missing", expected)
    return found


def named(item: Item | None, known: list[str], kind: str) -> list[tuple[int, Item]]:
    """Take a mapping from names of the plan to items, as (index, item)."""
    if item is None:
        return []
    if not isinstance(item, Mapping):
        raise fault(item, f"names of {kind}s are needed here", "for example {" + f"{kind}: ..." + "}")
    found = []
    for key, child in item.entries:
        if key.value not in known:
            hint = nearest(key.value, known) or f"the machine has {', '.join(known) or 'none'}"
            raise fault(key, f"there is no {kind} {key.value}", f"a {kind} of the machine", hint)
        found.append((known.index(key.value), child))
    return found


def listed(item: Item | None) -> tuple[Item, ...]:
    """Take one thing or a list of them."""
    if item is None:
        return ()
    return item.items if isinstance(item, Listing) else (item,)


def text(item: Item) -> str:
    """Take one value as it is written."""
    if not isinstance(item, Text):
        raise fault(item, "one value is needed here", "a text")
    return item.value


def whole(item: Item, low: int, high: int) -> int:
    """Take a whole number of a range."""
    value = scalar(item) if isinstance(item, Text) else None
    if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
        raise fault(item, "a whole number is needed here", f"{low} to {high}")
    return value


def number(item: Item, unit: str) -> float:
    """Take a quantity as a number of `unit`; without a unit it is one already."""
    example = f"a number, for example 15 {unit}".rstrip()
    try:
        quantity = parse(text(item))
        return convert(quantity, unit) if quantity.unit else quantity.value
    except UnitError as error:
        raise fault(item, str(error), example, f"write it in {unit}" if unit else "") from error


def time_us(item: Item) -> int:
    """Take a time from the start on, in whole microseconds."""
    expected = "a time with its unit, for example 1.5 s or 200 ms"
    try:
        time = convert(parse(text(item)), "us")
    except UnitError as error:
        raise fault(item, str(error), expected) from error
    if not 0 <= time <= LONGEST_US:
        raise fault(item, "this time is out of range", "0 to 24.8 days")
    return round(time)


def moment_us(item: Item, lasts_us: int) -> int:
    """Take a time within the script."""
    time = time_us(item)
    if time > lasts_us:
        raise fault(item, "this is after the end", f"at most {lasts_us / 1e6:g} s, which is what lasts says")
    return time


def span_us(item: Item) -> int:
    """Take how long something lasts, in whole microseconds."""
    time = time_us(item)
    if time == 0:
        raise fault(item, "this must take some time", "more than 0 s")
    return time


def flag(item: Item | None) -> bool:
    """Take true or false; false if it is left out."""
    if item is None:
        return False
    value = scalar(item) if isinstance(item, Text) else None
    if not isinstance(value, bool):
        raise fault(item, "true or false is needed here", "true or false")
    return value


def size(item: Item | None, unit: str) -> float:
    """Take a quantity that is not negative; 0 if it is left out."""
    if item is None:
        return 0.0
    value = number(item, unit)
    if value < 0:
        raise fault(item, "this cannot be negative", "0 or more")
    return value
