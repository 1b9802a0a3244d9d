"""The sources of the compiled executor: the portable target with the host's hooks, and glue around it."""

from sequencer.generate.render import built_in, generate, render_text, view_of
from sequencer.plan.tables import Plan


def host_files(plan: Plan, symbol: str = "gait") -> tuple[dict[str, str], str]:
    """Make the sources of a shared library for this machine: (file name -> text, the file to compile).

    Only built-in templates are used, whatever the user generates with. `symbol` begins the names of the
    library's functions, so that several gaits fit into one library. Raises MisuseError as `generate` does.
    """
    view = view_of(plan)
    environment = built_in("host")
    files = generate(plan, "portable")
    files[view["hooks"]] = render_text(environment, "gait_hooks.h.j2", view)
    glue = view["source"].replace(".cpp", "_glue.cpp")
    files[glue] = render_text(environment, "gait_glue.cpp.j2", view, symbol=symbol)
    return files, glue
