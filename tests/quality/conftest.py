"""The generated gaits that all questions of quality are asked of."""

from collections.abc import Callable
from pathlib import Path

import pytest
from support.builds import write_files
from support.commands import REPOSITORY
from support.feature_plans import feature_plans

from sequencer.generate.render import generate
from sequencer.plan.build import load_plan
from sequencer.plan.tables import Plan
from sequencer.prove.program import program_files
from sequencer.prove.wire import Form

EXAMPLES = sorted(path.stem.partition(".")[0] for path in REPOSITORY.glob("examples/*/*.gait.yaml"))

# the files of a gait: with its hooks as they are written first, or with hooks that watch all there is
Sources = Callable[[Plan], dict[str, str]]


def as_generated(plan: Plan) -> dict[str, str]:
    return generate(plan)


def watched(plan: Plan) -> dict[str, str]:
    files, _ = program_files([Form(plan, watched=True, leaves=range(len(plan.leaves)))], "host")
    return {name: files[name] for name in generate(plan)}


@pytest.fixture(params=[*EXAMPLES, *feature_plans()])
def plan(request: pytest.FixtureRequest) -> Plan:
    """An example or a gait with one feature."""
    name: str = request.param
    if name in EXAMPLES:
        return load_plan(REPOSITORY / "examples" / name / f"{name}.gait.yaml")
    return feature_plans()[name]


@pytest.fixture(params=[as_generated, watched], ids=lambda f: f.__name__)
def sources(request: pytest.FixtureRequest, plan: Plan, tmp_path: Path) -> list[str]:
    """The names of the gait's C++ sources, written into `tmp_path` with their headers."""
    made: Sources = request.param
    files = made(plan)
    write_files(files.items(), tmp_path)
    return [name for name in files if name.endswith(".cpp")]
