"""One small gait per feature of the tick, for golden texts and for the compilers."""

from dataclasses import replace

from sequencer.base.binary32 import load_f32
from sequencer.base.places import Place
from sequencer.plan.fixed import in_int16
from sequencer.plan.resolutions import Given, Member
from sequencer.plan.tables import ActsIn, Adds, Believe, Level, Plan, Remote, Term
from support.loops import loop, output, stall, supply
from support.plans import (
    NOWHERE,
    Phase,
    Rule,
    above,
    all_of,
    any_of,
    at_least,
    at_target,
    below,
    compare,
    event,
    hold_ms,
    hold_samples,
    in_phase,
    lost,
    make_plan,
    not_,
    outside,
    parameter,
    reached,
    setpoint,
    signal,
    switch,
    within,
)

TILT = signal("tilt", lost_after_ms=100)
KNEE = signal("knee", unit="mm", gain=0.07905138283967972, bias=-8.0632410049438477, low=0.0, high=60.0)
TO_GO = ("go_on", event("go"))
REST = Phase("stand", [TO_GO], rest=True)
BACK = Phase("go_on", timeout=(5000, "stand"))


def feature_plans() -> dict[str, Plan]:
    """Make the gaits; each is named after its feature."""
    return {name: replace(plan, name=name, sha=f"hash-of-{name}") for name, plan in _plans().items()}


def _plans() -> dict[str, Plan]:
    parts = (_guards(), _machines(), _setpoints(), _walks(), _watched(), _drives(), _live())
    alone = {"odd_names": _odd_names(), "whole_steps": _whole_steps()}
    return {name: plan for part in parts for name, plan in part.items()} | alone


def _guards() -> dict[str, Plan]:
    return {
        "event_and_timeout": make_plan({"walk": [REST, BACK]}, switches=()),
        "comparisons": make_plan(
            {
                "walk": [
                    Phase(
                        "stand",
                        [
                            ("go_on", all_of(above("tilt", 5), at_least("knee", 10))),
                            ("go_on", any_of(below("tilt", -5), not_(within("knee", 1, 59)))),
                            ("go_on", compare("at_most", "tilt", high=-0.1)),
                        ],
                    ),
                    BACK,
                ]
            },
            signals=[TILT, KNEE],
        ),
        "latches": make_plan(
            {"walk": [Phase("stand", [("go_on", outside("tilt", -5, 5, release=(-3, 3)))]), BACK]},
            signals=[TILT],
        ),
        "holds": make_plan(
            {
                "walk": [
                    Phase(
                        "stand",
                        [
                            ("go_on", above("tilt", 5), hold_ms(300)),
                            ("go_on", all_of(above("tilt", 4), above("knee", 5)), hold_samples(3)),
                        ],
                    ),
                    BACK,
                ]
            },
            signals=[TILT, KNEE],
        ),
    }


def _machines() -> dict[str, Plan]:
    return {
        "bare": make_plan({"walk": [Phase("stand")]}, events=(), switches=()),
        "believe": make_plan(
            {"walk": [REST, BACK]},
            signals=[
                replace(KNEE, believe=Believe("counts", 20.0, 1003.0), scaled=True),
                replace(TILT, believe=Believe("reads", -60.0, 60.0)),
            ],
        ),
        "remote": make_plan(
            {
                "walk": [
                    Phase("stand", [("go_on", switch("motors", remote=True)), ("go_on", lost(None))]),
                    BACK,
                ]
            },
            remote=Remote((0,), (0,), 100_000, 500, NOWHERE),
        ),
    }


def _setpoints() -> dict[str, Plan]:
    return {
        "parameters": make_plan(
            {
                "walk": [
                    Phase("stand", [("go_on", above("tilt", Level(-3.0, 0)))], set={"lean": Level(None, 0)}),
                    Phase("go_on", [("stand", event("go"))], set={"lean": Level(1.5, 0, negated=True)}),
                ]
            },
            signals=[TILT],
            parameters=[parameter("lean_angle", 15, 8, 20), parameter("speed", 1, 0.2, 2)],
            setpoints=[setpoint("lean", step=0.16, times=1)],
        ),
        "setpoints": make_plan(
            {
                "walk": [
                    Phase("stand", [("go_on", at_target("lean", 2, release=3))], set={"lean": 0, "bend": 99}),
                    Phase("go_on", [("stand", reached("lean", 2))], set={"lean": 15}),
                ]
            },
            signals=[TILT, signal("other_tilt"), KNEE],
            setpoints=[
                setpoint("lean", step=0.16, followers=[(0, 2.0), (1, -2.0)]),
                setpoint("bend", unit="mm", low=0.0, high=55.0),
            ],
        ),
    }


def _walks() -> dict[str, Plan]:
    return {
        "counters_and_pulses": make_plan(
            {
                "walk": [
                    Phase("stand", [TO_GO], reset=["steps"], pulse=["horn"]),
                    Phase(
                        "go_on", [("stand", at_least("steps", 3))], count=["steps"], timeout=(1000, "go_on")
                    ),
                ]
            },
            counters=["steps"],
            pulses=["horn", "lamp"],
        ),
        "stops": make_plan(
            {
                "walk": [
                    Phase("stand", [TO_GO], set={"lean": 0}),
                    Phase("go_on", [("cut", event("halt"))], timeout=(900, "slow"), set={"lean": 15}),
                    Phase("cut", [("hold", event("go"))], stop=0),
                    Phase("slow", [("hold", event("go"))], stop=1),
                    Phase("hold", [("stand", event("go"))], stop=2),
                ]
            },
            setpoints=[setpoint("lean", step=0.16)],
        ),
    }


def _watched() -> dict[str, Plan]:
    return {
        "anywhere": make_plan(
            {"walk": [REST, BACK, Phase("safe", [("stand", event("go"))], stop=2)]},
            signals=[TILT],
            anywhere=[
                ("safe", outside("tilt", -25, 25), hold_ms(50)),
                ("safe", any_of(event("halt"), lost("tilt"))),
            ],
        ),
        "rules": make_plan(
            {"walk": [REST, BACK]},
            signals=[TILT, KNEE],
            rules=[
                Rule("weight on the standing leg", above("tilt", 8), above("knee", 5), hold_samples(2)),
                Rule("upright", within("tilt", -25, 25), None, None, "stand"),
            ],
        ),
        "sequences": make_plan(
            {
                leg: [
                    Phase("stance", [("swing", in_phase(before, "stance"))]),
                    Phase("swing", [("stance", event("go"))], timeout=(800, "stance")),
                ]
                for leg, before in (("left_fore", "right_hind"), ("right_hind", "left_fore"))
            },
            anywhere=[("stance", event("halt"))],
        ),
    }


def _drives() -> dict[str, Plan]:
    lean = setpoint("lean", step=0.16)
    walk = {"walk": [REST, Phase("go_on", timeout=(5000, "stand"), set={"lean": 8}), Phase("cut", stop=0)]}
    pot = signal("hip_pot")
    outer = {"signal": 1, "output": None}
    acts = (ActsIn(0, (1,)),)
    battery = signal("battery", unit="V", low=9.0, high=load_f32(12.6))
    watched = supply(1, 12, least=10.0, under_for_ms=500)
    return {
        "loop": make_plan(
            walk, signals=[pot], setpoints=[lean], outputs=[output("hip_motor")],
            loops=[loop("hip", gains=(0.5, 0.005, 0), bumpless=True, integral_limit=0.5)],
        ),
        "cascade": make_plan(
            walk, signals=[pot, TILT], setpoints=[lean], outputs=[output("hip_motor", loops=(2,))],
            loops=[
                loop("balance", gains=(-0.3, 0, 0), terms=(Term(None, 0.0),), dead_band=0.5, every_ticks=4,
                     acts_in=(ActsIn(0, (0, 1)),), **outer),
                loop("tilt", gains=(0.1, 0.0025, 0.5), inputs=(Adds(0, 1.0),), every_ticks=2, low=-4.0,
                     high=4.0, fade_step=0.02, acts_in=acts, **outer),
                loop("hip", inputs=(Adds(1, -1.5),), terms=(Term(0, 0.0), Term(None, 2.0))),
            ],
        ),
        "outputs": make_plan(
            walk, signals=[pot, battery], setpoints=[lean],
            loops=[loop("hip"), loop("hip_too", gains=(0.25, 0, 0.1))],
            outputs=[
                output("hip_motor", loops=(0, 1), slew_step=0.05, supply=watched,
                       stall=stall(0, above=0.8, moves=0.5, for_ms=700)),
                output("fan", low=0.0, loops=(), supply=supply(1, 12)),
            ],
        ),
    }  # fmt: skip


def _whole_steps() -> Plan:
    """Everything that is another text where numbers are whole steps."""
    scaled = replace(KNEE, believe=Believe("counts", 20.0, 1003.0), scaled=True)
    lean = setpoint("lean", step=0.16, followers=[(0, 2.0), (1, -2.0)])
    phases = [
        Phase("stand", [("lean_over", event("go"))], set={"lean": 0, "bend": 99}),
        Phase("lean_over", [("rise", reached("lean", 2, release=3))], set={"lean": Level(None, 0)}),
        Phase(
            "rise", [("stand", at_target("lean", 2))], set={"lean": Level(1.5, 0, negated=True)}, count=["n"]
        ),
    ]
    plan = make_plan(
        {"walk": [*phases, Phase("safe", stop=1)]},
        signals=[TILT, signal("other_tilt", bias=-0.6), scaled],
        setpoints=[lean, setpoint("bend", unit="mm", low=0.0, high=55.0, followers=[(2, 0.0)])],
        parameters=[parameter("lean_angle", 15, 8, 20)],
        counters=["n"],
        anywhere=[("safe", any_of(outside("tilt", -25, 25, release=(-20, 20)), at_least("n", 40000)))],
        rules=[Rule("bent", above("other_tilt", Level(-3.0, 0)), within("knee", 5, 50))],
        loops=[loop("hip"), loop("knee", signal=2, terms=(Term(1, 0.0),), output=1)],
        outputs=[
            output("hip_motor", stall=stall(0, above=0.8, moves=0.5, for_ms=700)),
            output("knee_motor", loops=(1,), supply=supply(1, 12)),
        ],
    )
    given: dict[Member, Given] = {("signal", 0): Given(load_f32(0.01), NOWHERE)}
    whole, problems = in_int16(plan, given)
    assert problems == [], problems
    return whole


def _live() -> dict[str, Plan]:
    lean, other = setpoint("lean", step=0.16), setpoint("bend")
    names = ("tilt_zero", "hip_kp", "hip_ki", "hip_kd", "most", "duty")
    on_its_own = {"kp_times": None, "limit_from": None, "bi": 0.0, "bi_times": None}
    hip = loop(
        "hip", gains=(1.0, 0.01, 20.0), bumpless=True, kp_times=1, bi_times=2, bd_times=3, limit_from=4
    )
    legs = {
        leg: [
            Phase("stance", [("swing", above("tilt", 5), hold_ms(30))], timeout=(900, "stance")),
            Phase("swing", [("stance", all_of(event("go"), below("tilt", 3))), ("stance", above("tilt", 9))]),
        ]
        for leg in ("left", "right")
    }
    return {
        "named_numbers": make_plan(
            {"walk": [REST, Phase("go_on", timeout=(5000, "stand"), set={"lean": 8})]},
            signals=[replace(TILT, zero_from=0), replace(KNEE, zero_from=0), signal("other_tilt")],
            setpoints=[lean, other],
            parameters=[parameter(name, 1, 0, 1) for name in names],
            loops=[hip, replace(hip, name="knee", output=1, **on_its_own)],
            outputs=[output("hip_motor", cap=1.0, cap_from=5), output("knee_motor", loops=(1,), cap=0.4)],
        ),
        "helping": replace(make_plan(legs, signals=[TILT]), helping=True),
        "helping_by_events": replace(make_plan({"walk": [REST, BACK]}), helping=True),
        "helping_without_ways": replace(
            make_plan(
                {"walk": [Phase("stand", [("go_on", above("tilt", 5))]), Phase("go_on")]}, signals=[TILT]
            ),
            helping=True,
        ),
    }


def _odd_names() -> Plan:
    """Names that mean something to a compiler or a board, and texts that try to leave their comment."""
    plan = make_plan(
        {
            "int": [
                Phase("default", [("PI", event("for"))], pulse=["HIGH"]),
                Phase("PI", [("a__b", above("double", 1))], count=["delay"]),
                Phase("a__b", [("default", above("a_b", 1))]),
                Phase("a_b"),
            ]
        },
        signals=[signal("double", unit="*/ \\"), signal("a__b"), signal("a_b")],
        events=["for", "_if"],
        counters=["delay"],
        pulses=["HIGH"],
        parameters=[parameter("value", 1), parameter("s", 2)],
        rules=[
            Rule("state", above("double", 1)),
            Rule("*/ #error ??/ \\", above("double", 1)),
            Rule("Ünïcode ☃ //\n#error", above("a_b", 2)),
        ],
        setpoints=[setpoint("state")],
        loops=[loop("state"), loop("State", output=1)],
        outputs=[output("of"), output("state", loops=(1,))],
    )
    sequence = plan.sequences[0]
    evil = "ends in a backslash \\"
    phases = tuple(
        replace(phase, about=f"{evil} */ /* ??/", place=Place("/srv/secret/walk??/\n#error.yaml\\", 1, 2))
        for phase in sequence.phases
    )
    return replace(
        plan,
        about="two lines\n#error should not stand at the start of one \\",
        sources=("/srv/secret/walk.yaml\\",),
        sequences=(replace(sequence, phases=phases),),
    )
