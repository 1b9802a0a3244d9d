"""The stork as its example has it: 2 s of standing still, telemetry every 100 ms at 115,200 baud."""

import pytest
from support.board.bench import Outcome, telemetry
from support.board.programs import Program, build
from support.board.stork import Scene, moves
from support.commands import STORK


@pytest.fixture(scope="module")
def shipped(tmp_path_factory: pytest.TempPathFactory) -> Program:
    return build(STORK, tmp_path_factory.mktemp("shipped"))


@pytest.fixture(scope="module")
def outcome(shipped: Program, tmp_path_factory: pytest.TempPathFactory) -> Outcome:
    scene = Scene(shipped.plan, begin=2.7, skip=0.9)
    scene.enable_at = 2.4
    scene.bench.send(1.5, "enable\n")
    return scene.run(shipped.built.elf, tmp_path_factory.mktemp("walk"), 4.2)


def test_enable_waits_for_two_seconds_of_standing_still(outcome: Outcome) -> None:
    (refused,) = outcome.said("# not enabled: ")
    assert 1.5 < refused < 1.52
    (ready,) = outcome.said("# waiting for enable")
    assert 2.0 < ready < 2.2
    assert outcome.said("E1,0,")[0] > 2.4


def test_lines_come_every_100_ms_and_hold_what_came_since(shipped: Program, outcome: Outcome) -> None:
    lines = [line for line in telemetry(outcome) if line[2] == "2"]
    assert [int(line[1], 16) for line in lines] == [100 * k for k in range(len(lines))]
    events = [index for index, line in enumerate(lines) if line[5] != "0"]
    assert len(events) == 1, "go, in the line after it"
    assert all(item for line in lines[1:] for item in line[8:18])
    walked = [phase for _, phase, _ in moves(shipped, outcome)]
    assert walked[:3] == ["standing", "lean_right", "lift_left"]
    assert {line[7] for line in lines} == {"0"}


def test_the_port_had_time_to_spare(outcome: Outcome) -> None:
    sent = sum(len(line.text) + 1 for line in outcome.lines[0] if line.at > 2.5)
    assert sent * 10 / 115_200 / (4.2 - 2.5) < 0.3
