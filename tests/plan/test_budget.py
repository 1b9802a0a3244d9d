"""The budget of a machine file: how limits are written, and what is refused."""

import pytest
from support.gaits import errors_in, gait, plan_of, spot

from sequencer.plan.budget_tables import Budget
from sequencer.plan.build import parse_plan


def text_with(budget: str, wiring: str = "") -> str:
    return gait(outputs=f"    horn: {{pulse: true}}\n  budget: {budget}\n{wiring}")


def budget_of(budget: str, wiring: str = "") -> Budget:
    found = parse_plan(text_with(budget, wiring)).budget
    assert found is not None
    return found


# kB is 1000 bytes and KiB 1024 (IEC 80000-13); KB is how makers of controllers write 1024
@pytest.mark.parametrize(
    ("text", "amount"),
    [
        ("6000", 6000),
        ("6000 B", 6000),
        ("200 kB", 200_000),
        ("1.5 kB", 1500),
        ("6 KiB", 6144),
        ("6 KB", 6144),
    ],
)
def test_sizes_are_bytes(text: str, amount: int) -> None:
    limit = budget_of(f"{{controller: atmega2560, flash: {text}}}").flash
    assert limit is not None
    assert (limit.amount, limit.share, limit.of(262_144)) == (amount, False, amount)


def test_shares_are_of_all_there_is() -> None:
    budget = budget_of("{controller: uno, ram: 75 %, worst_tick: 40%}")
    assert budget.flash is None
    assert budget.ram is not None
    assert budget.worst_tick is not None
    assert (budget.ram.of(2048), budget.worst_tick.of(10)) == (1536, 4)


def test_a_tick_may_be_limited_in_time() -> None:
    limit = budget_of("{controller: cortex-m3, worst_tick: 800 us}").worst_tick
    assert limit is not None
    assert limit.of(10) == pytest.approx(0.8)


def test_the_board_of_the_wiring_is_the_controller_if_none_is_named() -> None:
    assert budget_of("{ram: 1 kB}", "  wiring: {board: nano}").controller == "nano"


def test_a_budget_changes_nothing_of_the_meaning() -> None:
    assert parse_plan(text_with("{controller: uno}")).sha == plan_of().sha


@pytest.mark.parametrize(
    ("budget", "code", "piece"),
    [
        ("{controller: atmega256}", "unknown-name", "atmega256"),
        ("{controller: uno, flash: 3 mm}", "bad-unit", "3 mm"),
        ("{controller: uno, flash: 0}", "out-of-span", "0}"),
        ("{controller: uno, ram: 120 %}", "out-of-span", "120 %"),
        ("{controller: uno, worst_tick: 3 deg}", "bad-unit", "3 deg"),
        ("{controller: cortex-m4f, ram: 50 %}", "bad-unit", "50 %"),
        ("{flash: 3 kB}", "missing-key", "budget"),
        ("{controller: uno, flahs: 3 kB}", "unknown-key", "flahs"),
    ],
)
def test_one_slip_is_one_error_at_its_place(budget: str, code: str, piece: str) -> None:
    text = text_with(budget)
    (finding,) = errors_in(text)
    assert finding.code == code
    assert f"{finding.place.line}:{finding.place.column}" == spot(text, piece)
    assert finding.expected


def test_an_unknown_board_is_no_controller() -> None:
    (finding,) = errors_in(text_with("{flash: 3 kB}", "  wiring: {board: my_board}"))
    assert finding.code == "missing-key"
