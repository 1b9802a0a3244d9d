"""Recordings made from scripts."""

import math
from pathlib import Path

import numpy as np
import pytest
from support.tick_blocks import bits
from support.trace_plans import plan, signal

from sequencer.base.errors import MisuseError, TraceError
from sequencer.plan.tables import Plan
from sequencer.trace.blocks import FRESH_RAW, FRESH_VALUE, HEARD, ParameterWrite, TickBlock
from sequencer.trace.make import make_trace
from sequencer.trace.record import join_blocks
from sequencer.trace.ticks import MOST_TICKS

PLAN = plan(signal("roll"), signal("knee", "mm", scaled=True, every_us=20_000, low=0.0, high=60.0))


def make(tmp_path: Path, text: str, its: Plan = PLAN, seed: int | None = None) -> TickBlock:
    script = tmp_path / "walk.trace.yaml"
    script.write_text(text)
    return join_blocks(list(make_trace(script, its, seed=seed)))


def roll(tmp_path: Path, lines: str, lasts: str = "100 ms", seed: int | None = None) -> list[float]:
    text = f"lasts: {lasts}\nsignals:\n  roll:\n" + "".join(f"    {line}\n" for line in lines.splitlines())
    block = make(tmp_path, text, seed=seed)
    return [float(v) if f else math.nan for v, f in zip(block.raw[:, 0], block.fresh[:, 0], strict=True)]


def f32(*values: float) -> list[float]:
    return [float(np.float32(v)) for v in values]


def test_a_script_without_signals_is_a_row_of_empty_ticks(tmp_path: Path) -> None:
    block = make(tmp_path, "lasts: 50 ms\n")
    assert block.now.tolist() == [0, 10, 20, 30, 40, 50]
    assert not block.fresh.any()
    assert not block.switches.any()


def test_hold_ramp_and_step_follow_each_other(tmp_path: Path) -> None:
    pieces = "{hold: 20 ms}, {ramp: 4 deg, in: 30 ms}, {step: 10 deg}, {hold: 20 ms}, {step: 7}"
    shape = f"start: 1 deg\nshape: [{pieces}]"
    assert roll(tmp_path, shape) == [1, 1, 1, 2, 3, 10, 10, 7, 7, 7, 7]


def test_a_sine_swings_around_where_the_signal_stands(tmp_path: Path) -> None:
    values = roll(tmp_path, "start: 5\nshape: [{sine: 2 deg, period: 40 ms, for: 70 ms}, {hold: 10 ms}]")
    assert np.allclose(values, [5, 7, 5, 3, 5, 7, 5, 3, 3, 3, 3], atol=1e-6)


def test_units_convert(tmp_path: Path) -> None:
    assert roll(tmp_path, f"start: {math.pi} rad", "0.01 s") == f32(180, 180)


def test_a_shape_may_be_repeated(tmp_path: Path) -> None:
    values = roll(tmp_path, "shape: [{step: 1}, {hold: 20 ms}, {step: 0}, {hold: 10 ms}]\nrepeat: 3")
    assert values == [1, 1, 0, 1, 1, 0, 1, 1, 0, 0, 0]


def test_quantisation_rounds_to_whole_steps(tmp_path: Path) -> None:
    values = roll(tmp_path, "shape: [{ramp: 1 deg, in: 100 ms}]\nquantisation: 0.25 deg")
    assert values == [0, 0, 0.25, 0.25, 0.5, 0.5, 0.5, 0.75, 0.75, 1, 1]


def test_noise_has_its_standard_deviation(tmp_path: Path) -> None:
    values = np.array(roll(tmp_path, "noise: 0.2 deg", lasts="200 s"))
    assert abs(values.mean()) < 5 * 0.2 / math.sqrt(20_001)
    assert abs(values.std() - 0.2) < 5 * 0.2 / math.sqrt(40_002)


def test_a_glitch_is_one_sample_or_a_while_and_goes_by_or_to_a_value(tmp_path: Path) -> None:
    assert roll(tmp_path, "start: 1\nglitch: {at: 25 ms, by: 20}")[:6] == [1, 1, 1, 21, 1, 1]
    values = roll(tmp_path, "start: 1\nglitch: [{at: 10 ms, to: -5 deg, for: 20 ms}, {at: 50 ms, by: 1}]")
    assert values[:7] == [1, -5, -5, 1, 1, 2, 1]


def test_dropouts_are_windows_and_chances(tmp_path: Path) -> None:
    values = roll(tmp_path, "dropout: [{at: 20 ms, for: 30 ms}, {at: 80 ms, for: 10 ms}]")
    assert np.flatnonzero(np.isnan(values)).tolist() == [2, 3, 4, 8]
    lost = np.isnan(roll(tmp_path, "dropout: {chance: 0.1}", lasts="200 s"))
    assert abs(lost.mean() - 0.1) < 5 * math.sqrt(0.1 * 0.9 / 20_001)


def test_each_signal_is_sampled_at_its_own_period(tmp_path: Path) -> None:
    block = make(tmp_path, "lasts: 60 ms\nsignals: {roll: {}, knee: {start: 3 mm}}\n")
    assert block.fresh[:, 0].tolist() == [FRESH_VALUE] * 7
    assert block.fresh[:, 1].tolist() == [FRESH_VALUE, 0, FRESH_VALUE, 0, FRESH_VALUE, 0, FRESH_VALUE]


def test_samples_between_ticks_fall_into_the_next_one(tmp_path: Path) -> None:
    its = plan(signal("roll", every_us=4_000))
    block = make(tmp_path, "lasts: 20 ms\nsignals: {roll: {shape: [{ramp: 20, in: 20 ms}]}}\n", its)
    assert block.raw[:, 0].tolist() == [0, 8, 20]
    assert block.skipped.tolist() == [3]  # those at 4, 12 and 16 ms


def test_raw_numbers_are_counts_where_there_is_a_scale(tmp_path: Path) -> None:
    block = make(
        tmp_path,
        "lasts: 10 ms\nsignals: {knee: {raw: true, start: 102 counts}, roll: {raw: true, start: 3 deg}}",
    )
    assert block.raw[0].tolist() == [3, 102]
    assert block.fresh[0].tolist() == [FRESH_RAW, FRESH_RAW]


def test_events_switches_and_parameters_come_at_their_times(tmp_path: Path) -> None:
    block = make(
        tmp_path,
        "lasts: 60 ms\n"
        "events: {go: 10 ms, halt: [11 ms, 0.05 s]}\n"
        "switches: {motors: on, walk: [{at: 20 ms, to: on}, {at: 40 ms, to: off}]}\n"
        "parameters: {lift: [{at: 30 ms, to: 2 cm}], lean_angle: {at: 30 ms, to: 9 deg}}\n",
    )
    assert block.events.tolist() == [0, 1, 2, 0, 0, 2, 0]
    assert block.switches.tolist() == [1, 1, 3, 3, 1, 1, 1]
    assert sorted(block.writes, key=lambda w: w.parameter) == [
        ParameterWrite(3, 0, 9.0),
        ParameterWrite(3, 1, 20.0),
    ]


def test_the_remote_is_heard_at_its_period_and_with_events_unless_silent(tmp_path: Path) -> None:
    text = "lasts: 500 ms\nevents: {go: 250 ms}\nremote: {silent: {at: 300 ms, for: 110 ms}}"
    assert np.flatnonzero(make(tmp_path, text).control == HEARD).tolist() == [0, 10, 20, 25, 50]


def test_the_same_seed_gives_the_same_bits(tmp_path: Path) -> None:
    text = (
        "lasts: 3 s\nseed: 5\nsignals: {roll: {noise: 0.2 deg, dropout: {chance: 0.1}}, knee: {noise: 1 mm}}"
    )
    assert bits(make(tmp_path, text)) == bits(make(tmp_path, text))
    assert bits(make(tmp_path, text, seed=5)) == bits(make(tmp_path, text))
    assert bits(make(tmp_path, text, seed=6)) != bits(make(tmp_path, text))


def test_another_signal_in_the_script_changes_nothing_in_the_first(tmp_path: Path) -> None:
    alone = make(tmp_path, "lasts: 1 s\nsignals: {roll: {noise: 0.2 deg}}")
    both = make(tmp_path, "lasts: 1 s\nsignals: {knee: {noise: 1 mm}, roll: {noise: 0.2 deg}}")
    assert np.array_equal(alone.raw[:, 0], both.raw[:, 0])


def test_a_long_script_comes_in_bounded_blocks_without_a_seam(tmp_path: Path) -> None:
    script = tmp_path / "long.trace.yaml"
    script.write_text(
        "lasts: 1500 s\nsignals: {roll: {shape: [{ramp: 15 deg, in: 1500 s}]}}\nswitches: {walk: on}\n"
    )
    blocks = list(make_trace(script, PLAN))
    assert max(map(len, blocks)) <= MOST_TICKS
    whole = join_blocks(blocks)
    assert np.array_equal(whole.now, np.arange(150_001) * 10)
    assert (whole.fresh[:, 0] == FRESH_VALUE).all()
    assert np.allclose(whole.raw[:, 0], np.arange(150_001) * 1e-4, atol=1e-5)
    assert (whole.switches == 2).all()


# a script, the line and column, a part of the message, a part of what is expected or of the hint
BAD = {
    "empty": ("", 1, 1, "is empty", "keys"),
    "not YAML": ("lasts: [1\n", 2, 1, "", ""),
    "a list": ("- lasts: 1 s\n", 1, 1, "keys are needed", "lasts"),
    "no end": ("seed: 1\n", 1, 1, "lasts is missing", "lasts"),
    "an unknown key": ("lasts: 1 s\nsignal: {}\n", 2, 1, "signal is not known", "signals"),
    "a key twice": ("lasts: 1 s\nlasts: 2 s\n", 2, 1, "lasts", ""),
    "an end without a unit": ("lasts: 12\n", 1, 8, "", "1.5 s"),
    "an end that is a length": ("lasts: 12 mm\n", 1, 8, "mm (length)", "1.5 s"),
    "no time at all": ("lasts: 0 s\n", 1, 8, "some time", "more than 0"),
    "an end too far off": ("lasts: 1000 h\n", 1, 8, "out of range", "24.8 days"),
    "a seed that is no number": ("lasts: 1 s\nseed: x\n", 2, 7, "whole number", "0 to"),
    "an unknown signal": ("lasts: 1 s\nsignals: {rol: {}}\n", 2, 11, "no signal rol", "did you mean roll?"),
    "an unknown event": ("lasts: 1 s\nevents: {gone: 1 s}\n", 2, 10, "no event gone", "did you mean go?"),
    "an unknown switch": ("lasts: 1 s\nswitches: {x: on}\n", 2, 12, "no switch x", "motors, walk"),
    "an unknown parameter": ("lasts: 1 s\nparameters: {lif: []}\n", 2, 14, "no parameter lif", "lift"),
    "an event after the end": ("lasts: 1 s\nevents: {go: 2 s}\n", 2, 14, "after the end", "1 s"),
    "a switch that is yes": ("lasts: 1 s\nswitches: {walk: yes}\n", 2, 18, "on or off", "to: on"),
    "signals in a list": ("lasts: 1 s\nsignals: [roll]\n", 2, 10, "names of signals", "signal: ..."),
    "an alias": ("lasts: &a 1 s\nsignals: {roll: {shape: [{hold: *a}]}}\n", 2, 33, "alias", ""),
}

# what a signal does, the column in it, a part of the message, a part of what is expected or of the hint
BAD_SIGNAL = {
    "a wrong unit": ("{start: 3 V}", 9, "V (voltage)", "in deg"),
    "no number": ("{start: high}", 9, "'high' is not a number", "15 deg"),
    "a list for a number": ("{start: [1]}", 9, "one value", "text"),
    "an unknown piece": ("{shape: [{jump: 1}]}", 10, "no piece", "hold, ramp, step, sine"),
    "two pieces in one": ("{shape: [{hold: 1 s, step: 1}]}", 10, "no piece", "one of"),
    "a ramp without a time": ("{shape: [{ramp: 3}]}", 10, "in is missing", "ramp, in"),
    "a piece with a stray key": ("{shape: [{hold: 1 s, for: 2 s}]}", 22, "for is not known", "hold"),
    "a sine without a period": ("{shape: [{sine: 3, for: 1 s}]}", 10, "period is missing", "period"),
    "negative noise": ("{noise: -1 deg}", 9, "negative", "0 or more"),
    "a chance above one": ("{dropout: {chance: 2}}", 11, "probability", "0 to 1"),
    "a dropout without an end": ("{dropout: {at: 1 s}}", 11, "for is missing", "at"),
    "a glitch without a size": ("{glitch: {at: 1 s}}", 10, "some value", "by and to"),
    "too many repeats": ("{repeat: 90000, shape: [{step: 1}, {hold: 1 s}]}", 25, "100,000", "fewer"),
    "raw that is a word": ("{raw: yes}", 7, "true or false", "true"),
    "counts without a scale": ("{raw: true, start: 3 counts}", 20, "counts", "in deg"),
}
SIGNAL = "lasts: 1 s\nsignals: {roll: %s}\n"


def in_a_script(item: tuple[str, int, str, str]) -> tuple[str, int, int, str, str]:
    text, column, message, help_ = item
    return SIGNAL % text, 2, column + len("signals: {roll: "), message, help_


ALL_BAD = BAD | {name: in_a_script(item) for name, item in BAD_SIGNAL.items()}


@pytest.mark.parametrize("name", ALL_BAD)
def test_a_bad_script_is_told_with_its_place(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    text, line, column, message, help_ = ALL_BAD[name]
    Path("bad.trace.yaml").write_text(text)
    with pytest.raises(TraceError) as caught:
        make_trace("bad.trace.yaml", PLAN)
    error = caught.value
    assert (error.place.file, error.place.line, error.place.column) == ("bad.trace.yaml", line, column), (
        error.message
    )
    assert message in error.message
    assert help_ in f"{error.message} | {error.expected} | {error.hint}"


def test_a_remote_that_the_machine_does_not_have_is_told(tmp_path: Path) -> None:
    with pytest.raises(TraceError, match="no remote"):
        make(
            tmp_path,
            "lasts: 1 s\nremote: {silent: {at: 0 s, for: 1 s}}\n",
            plan(signal("roll"), remote=False),
        )


def test_a_negative_seed_is_told(tmp_path: Path) -> None:
    with pytest.raises(MisuseError, match="seed is -1"):
        make(tmp_path, "lasts: 1 s\n", seed=-1)


def test_a_script_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(TraceError, match="cannot be opened"):
        make_trace(tmp_path / "none.trace.yaml", PLAN)
