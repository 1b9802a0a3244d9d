"""The proof program: generated sequencers, and what feeds them and sends back what they decide."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from sequencer.generate.render import built_in, generate, render_text, templates_root, view_of
from sequencer.plan.tables import Plan
from sequencer.prove.wire import Form

MOST_GAITS = 255  # of one program: their numbers are bytes

FOLDER = "proof"
# names with a hyphen, which no gait can have
SOURCE, BARE, PORT, LINKING = "proof-program.cpp", "proof-bare.cpp", "proof-port.h", "proof-cortex.ld"


def program_files(forms: Sequence[Form], port: str) -> tuple[dict[str, str], tuple[str, ...]]:
    """Make the sources of a program that replays inputs on each form's gait: (files, those to compile).

    port: ``avr``, ``cortex`` or ``host``. The gaits' names must differ. The generated files stand as they
    are; where a form is watched, only the hooks header is another.
    """
    assert len(forms) <= MOST_GAITS
    environment = built_in(FOLDER)
    files: dict[str, str] = {}
    programs, sources = [], []
    for form in forms:
        view = view_of(form.plan)
        files |= generate(form.plan, "portable")
        what = {"first_leaf": form.leaves.start, "leaves": len(form.leaves) * form.watched}
        if form.watched:
            files[view["hooks"]] = render_text(environment, "gait_hooks.h.j2", view, **what)
        frame = [asdict(field) for field in form.fields]
        programs.append({"g": view, "watched": form.watched, "frame": frame, **what})
        sources += _sources(view)
    files[SOURCE] = environment.get_template("proof.cpp.j2").render(programs=programs)
    sources += add_port(files, port)
    return files, (SOURCE, *sources)


def bare_files(plan: Plan | None, port: str) -> tuple[dict[str, str], tuple[str, ...]]:
    """Make the least program around a sequencer, or around nothing: (files, those to compile)."""
    view = None if plan is None else view_of(plan)
    files = {} if plan is None else generate(plan, "portable")
    files[BARE] = built_in(FOLDER).get_template("bare.cpp.j2").render(g=view)
    sources = [BARE] if view is None else [BARE, *_sources(view)]
    return files, (*sources, *add_port(files, port))


def _sources(view: Mapping[str, Any]) -> list[str]:
    """Name the generated files that are to be compiled: the walk, and the loops and outputs if it has any."""
    return [part["source"] for part in (view, view["drives"]) if part]


def add_port(files: dict[str, str], port: str) -> list[str]:
    """Add how a program talks, and starts if there is no C library; name what of it is to be compiled."""
    kept = {PORT: f"port_{port}.h", **_PORTS[port]}
    files |= {name: own_file(file).read_text(encoding="ascii") for name, file in kept.items()}
    return [name for name in _PORTS[port] if name.endswith(".cpp")]


_PORTS = {
    "avr": {},
    "cortex": {"proof-start.cpp": "cortex_start.cpp", LINKING: "cortex.ld"},
    "host": {"proof-files.cpp": "port_host.cpp"},
}


def own_file(name: str) -> Path:
    """Find a file of the proof that is used as it is."""
    return templates_root() / FOLDER / name


def write_files(files: dict[str, str], folder: Path) -> None:
    """Write the sources into a folder of our own."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files.items():
        (folder / name).write_text(text, encoding="ascii")
