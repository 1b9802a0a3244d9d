"""Body files: what is read, and what is wrong with one is told with its place, all in one pass."""

import math
from pathlib import Path

import pytest
from support.bodies import BODY, PENDULUM, body_of, changed, small_plan

from sequencer.base.errors import FileErrors
from sequencer.base.findings import Finding
from sequencer.plan.tables import Plan
from sequencer.rehearse.body import Body
from sequencer.rehearse.read_body import load_body


@pytest.fixture
def body(plan: Plan) -> Body:
    return load_body(BODY, plan)


def test_links_and_joints_are_in_si_units(body: Body) -> None:
    names = [link.name for link in body.links]
    assert names[:3] == ["trunk", "left_thigh", "right_thigh"]
    thigh, shank = body.links[1], body.links[names.index("right_shank")]
    assert (thigh.on, thigh.at, thigh.size) == (0, (0, 0.09, 0), (0, 0, 0.225))
    assert thigh.joint is not None and shank.joint is not None
    assert thigh.joint.stands_at == pytest.approx(math.radians(2))
    assert (thigh.joint.turns, shank.joint.turns) == (True, False)
    assert shank.joint.axis == (0, 0, 1)
    assert (shank.on, shank.at) == (names.index("right_thigh"), (0, 0, -0.225))
    assert [body.links[foot].name for foot in body.feet] == ["left_foot", "right_foot"]


def test_drives_are_in_si_units_and_know_their_outputs(body: Body, plan: Plan) -> None:
    hip, knee = body.drives[0], body.drives[-1]
    assert plan.outputs[hip.output or 0].name == "left_hip_motor"
    assert hip.speed == pytest.approx(math.radians(25))
    assert hip.stiffness == pytest.approx(10 / math.radians(0.4))
    assert hip.damping == pytest.approx(hip.stiffness * 0.04)
    assert (hip.at, hip.lag, hip.self_locking, knee.self_locking) == (6.6, 0.05, True, False)
    assert (knee.stall, knee.slack) == (600, 0.0005)


def test_senses_know_their_signals_and_scales(body: Body, plan: Plan) -> None:
    found = {plan.signals[sense.signal].name: sense for sense in body.senses}
    assert set(found) == {signal.name for signal in plan.signals}
    assert found["left_knee"].scale == 1000
    assert found["body_roll"].scale == pytest.approx(math.degrees(1))
    assert (found["body_roll"].kind, found["battery"].kind) == ("roll", "supply")


def test_a_servo_and_a_ball_can_be_said(tmp_path: Path) -> None:
    text = changed(
        PENDULUM,
        ("sole: {long: 1 m, wide: 1 m, under: 1 m}", "ball: 20 mm"),
        ("    joint: neck\n    output: motor", "    joint: pivot\n    setpoint: aim"),
        ("speed: 1 mm/s", "speed: 60 deg/s"),
        ("1000 kN\n    gives: {by: 1 mm, under: 50 kN}", "5 Nm\n    gives: {by: 1 deg, under: 5 Nm}"),
        ("swing: {joint: pivot}", "swing: {joint: pivot, side: motor}"),
    )
    body = body_of(text, tmp_path)
    assert body.links[1].form == "ball"
    assert (body.drives[0].setpoint, body.drives[0].output) == (0, None)
    assert body.drives[0].setpoint_scale == pytest.approx(math.radians(1))
    assert [sense.kind for sense in body.senses] == ["motor", "load"]


def findings(text: str, folder: Path) -> tuple[Finding, ...]:
    with pytest.raises(FileErrors) as caught:
        body_of(text, folder, small_plan())
    return caught.value.findings


ROD = "rod: {on: trunk, joint: {name: pivot, turns: pitch}, mass: 2 kg, length: 400 mm}"
PLANTED = [
    ("mass: 2 kg", "mas: 2 kg", "unknown-key", "did you mean mass?"),
    ("mass: 2 kg", "mass: 2 m", "bad-unit", "mass"),
    ("mass: 2 kg", "mass: -2 kg", "out-of-span", "above 0"),
    ("mass: 2 kg", "mass: much", "bad-unit", "much"),
    ("length: 400 mm", "length: 400 deg", "bad-unit", "length"),
    ("length: 400 mm", "length: 0 mm", "out-of-span", "above 0"),
    (", length: 400 mm", "", "missing-key", "one of box, length, sole, ball"),
    ("length: 400 mm", "length: 400 mm, ball: 20 mm", "missing-key", "length and ball"),
    ("length: 400 mm", "length: 400 mm, centre: [0 mm, 0 mm, 0 mm]", "missing-key", "centre"),
    ("turns: pitch", "turns: pich", "wrong-type", "turns"),
    ("turns: pitch", "turns: pitch, slides: up", "missing-key", "either turns"),
    (", turns: pitch", "", "missing-key", "either turns"),
    ("turns: pitch", "turns: pitch, span: [5 deg, 10 deg]", "out-of-span", "stops"),
    ("turns: pitch", "turns: pitch, friction: -1 Nm", "out-of-span", "negative"),
    (
        "on: trunk, joint: {name: pivot",
        "on: trnk, joint: {name: pivot",
        "unknown-name",
        "did you mean trunk?",
    ),
    ("{name: pivot,", "{name: neck,", "duplicate-name", "neck"),
    ("joint: {name: pivot, turns: pitch}, ", "", "missing-key", "rod lacks joint"),
    ("box: [400 mm, 400 mm, 400 mm]", "box: [400 mm, 400 mm]", "wrong-type", "three lengths"),
    ("{mass: 10000 kg", "{on: foot, mass: 10000 kg", "unknown-key", "trunk"),
    ("    joint: neck", "    joint: nek", "unknown-name", "did you mean neck?"),
    ("output: motor", "output: moter", "unknown-name", "did you mean motor?"),
    ("    output: motor\n", "", "missing-key", "either output or setpoint"),
    ("output: motor", "output: motor\n    setpoint: aim", "missing-key", "either output or setpoint"),
    ("output: motor", "setpoint: aim", "bad-unit", "aim"),
    ("output: motor", "output: motor\n    at: 6 V", "missing-key", "supply"),
    ("speed: 1 mm/s", "speed: 1 deg/s", "bad-unit", "deg/s"),
    ("under: 50 kN", "under: 50 Nm", "bad-unit", "Nm"),
    ("swing: {joint", "swign: {joint", "unknown-name", "did you mean swing?"),
    ("swing: {joint: pivot}", "swing: {joint: pivott}", "unknown-name", "did you mean pivot?"),
    ("swing: {joint: pivot}", "swing: {joint: neck}", "bad-unit", "deg"),
    ("swing: {joint: pivot}", "swing: {joint: pivot, tilt: rod}", "missing-key", "joint"),
    ("swing: {joint: pivot}", "swing: {joint: pivot, side: motor}", "unknown-name", "no motor"),
    ("  swing: {joint: pivot}\n", "", "missing-key", "swing"),
    ("load: {load: foot}", "load: {load: rod}", "wrong-type", "no foot"),
    ("floor: {friction: 0.8}\n", "", "missing-key", "floor"),
    ("floor: {friction: 0.8}", "floor: {friction: 0.8 mm}", "bad-unit", "friction"),
    ("body: pendulum", "body: 1x", "bad-name", "1x"),
]


@pytest.mark.parametrize(("old", "new", "code", "words"), PLANTED, ids=[new[:40] for _, new, _, _ in PLANTED])
def test_a_slip_is_told_where_it_is(old: str, new: str, code: str, words: str, tmp_path: Path) -> None:
    text = changed(PENDULUM, (old, new))
    (finding,) = findings(text, tmp_path)
    assert finding.code == code
    assert words in f"{finding.message} {finding.expected} {finding.fix}"
    lines = [number for number, line in enumerate(text.splitlines(), 1) if line not in PENDULUM.splitlines()]
    if lines:
        assert finding.place.line <= lines[-1]
    assert finding.place.file.endswith("tried.body.yaml")


def test_several_slips_are_told_in_one_pass(tmp_path: Path) -> None:
    text = changed(PENDULUM, ("mass: 2 kg", "mass: 2 m"), ("joint: neck\n", "joint: nek\n"), ("0.8", "-1"))
    assert [f.code for f in findings(text, tmp_path)] == ["bad-unit", "unknown-name", "out-of-span"]


def test_a_body_without_feet_is_refused(tmp_path: Path) -> None:
    text = changed(PENDULUM, ("sole: {long: 1 m, wide: 1 m, under: 1 m}", "length: 1 m"))
    assert "no link is a foot" in findings(text, tmp_path)[0].message


@pytest.mark.parametrize(("kind", "words"), [("gait", "is a gait file"), ("machine", "is a machine file")])
def test_another_kind_of_file_is_told_at_once(kind: str, words: str, plan: Plan) -> None:
    with pytest.raises(FileErrors) as caught:
        load_body(BODY.with_name(f"stork.{kind}.yaml"), plan)
    (finding,) = caught.value.findings
    assert (finding.code, words in finding.message) == ("other-kind", True)


def test_every_line_that_is_cut_short_is_an_error_and_nothing_else(tmp_path: Path, plan: Plan) -> None:
    text = BODY.read_text(encoding="utf-8")
    for end in range(0, len(text), 97):
        try:
            body_of(text[:end], tmp_path, plan)
        except FileErrors as error:
            assert error.findings
