"""The template environment and the targets: from a plan to the text of its files."""

import re
from collections.abc import Mapping
from dataclasses import asdict
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sequencer.base.errors import MisuseError, SequencerError
from sequencer.generate.layout import lay_out
from sequencer.generate.names import comment

if TYPE_CHECKING:
    from jinja2 import Environment, TemplateError

    from sequencer.plan.tables import Plan

_SUFFIX = ".j2"
_TOP = Path(__file__).resolve().parents[2]
_PACKAGE = Path(__file__).resolve().parents[1]
_blank_lines = re.compile(r"\n{3,}")  # what left-out parts leave behind
_INSIDE = ("host", "proof", "report")  # templates for our own use
_MOST_OUTPUT = 64_000_000  # characters of one file; a template of a stranger may loop


def templates_root() -> Path:
    """Find the built-in templates: at the top of a checkout, or carried in the installed package."""
    for root in (_PACKAGE / "_data" / "templates", _TOP / "templates"):
        if (root / "portable").is_dir():
            return root
    raise SequencerError("the built-in templates are missing", hint="install gait-sequencer again")


def targets() -> list[str]:
    """Name the built-in targets that `generate` knows."""
    return sorted(p.name for p in templates_root().iterdir() if p.is_dir() and p.name not in _INSIDE)


def generate(
    plan: "Plan", target: str = "portable", templates: Path | None = None, *, sketch: str = ""
) -> dict[str, str]:
    """Write the plan's program as text: file name -> contents, in a stable order.

    target: one of `targets()`; not looked at if `templates` names a folder with a set of your own, in which
    each ``*.j2`` whose name does not start with ``_`` makes one file, or none if it prints nothing; ``gait``
    in its name becomes the gait's name. Own templates run in a sandbox and see only the records of
    `sequencer.generate.views`, as `g`. sketch: for the target board, what the sketch is to be called, for the
    boards' editor wants it to be called as its folder; by default as the gait.

    Raises MisuseError for an unknown target, a folder without templates, a template that fails, or a name
    that cannot stand in C++; FileErrors if a board's program lacks wires, or its telemetry does not fit.
    """
    if templates is not None:
        return _render(_sandbox(templates), _file_templates(templates), view_of(plan))
    if target not in targets():
        raise MisuseError(f"there is no target {comment(target)!r}", hint=f"targets: {', '.join(targets())}")
    if target == "board":
        return _board(plan, sketch)
    if target == "bringup":
        raise MisuseError("the target bringup is made from a machine file alone, without a gait")
    return _render(built_in(target), _file_templates(templates_root() / target), view_of(plan))


def _board(plan: "Plan", sketch: str) -> dict[str, str]:
    """Write the portable files, in which the board's program hears of transitions, and those of the board."""
    from sequencer.generate.board import board_files

    view = view_of(plan)
    own = board_files(plan, view, sketch)
    view["hooks"] = next(name for name in own if name.endswith("_told.h"))
    names = [name for name in _file_templates(templates_root() / "portable") if name != "gait_hooks.h.j2"]
    portable = _render(built_in("portable"), names, view)
    twice = sorted(name for name in own if name in portable)
    if twice:
        raise MisuseError(
            f"two generated files would be called {twice[0]}", hint="rename the gait or machine"
        )
    return portable | own


@lru_cache(maxsize=8)
def built_in(target: str) -> "Environment":
    """Give the environment of a built-in target; its templates are read once."""
    from jinja2 import Environment

    return _equip(Environment, templates_root() / target)


def _sandbox(folder: Path) -> "Environment":
    from jinja2.sandbox import ImmutableSandboxedEnvironment

    if not folder.is_dir():
        raise MisuseError(f"there is no folder of templates at {comment(folder)}")
    return _equip(ImmutableSandboxedEnvironment, folder)


def _equip(kind: "type[Environment]", folder: Path) -> "Environment":
    from jinja2 import FileSystemLoader, StrictUndefined

    environment = kind(
        loader=FileSystemLoader(folder),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        autoescape=False,  # it is C++, not HTML: names are checked, texts go through `comment`
    )
    environment.filters["comment"] = comment
    return environment


def _file_templates(folder: Path) -> list[str]:
    names = sorted(p.name for p in folder.glob(f"*{_SUFFIX}") if p.is_file() and not p.name.startswith("_"))
    if not names:
        raise MisuseError(
            f"there are no templates in {comment(folder)}", hint=f"a template's name ends in {_SUFFIX}"
        )
    return names


def _render(environment: "Environment", names: list[str], view: Mapping[str, Any]) -> dict[str, str]:
    from jinja2 import TemplateError

    files = {}
    for name in names:
        stem = view["namespace"]
        made = name.removesuffix(_SUFFIX).replace("gait_", f"{stem.rstrip('_')}_").replace("gait", stem)
        try:
            text = render_text(environment, name, view)
        except TemplateError as error:
            raise _template_error(name, error) from error
        except (TypeError, ValueError, ArithmeticError, LookupError, AttributeError, RecursionError) as error:
            raise MisuseError(f"the template {name} failed: {comment(error)}") from error
        if text.strip():  # a template that prints nothing has nothing to say about this gait
            files[made] = tidied(text)
    return files


def tidied(text: str) -> str:
    """Close the gaps that left-out parts of a template leave behind."""
    return _blank_lines.sub("\n\n", text)


def view_of(plan: "Plan") -> dict[str, Any]:
    """Give what templates see, as plain dictionaries, lists, texts and numbers."""
    return asdict(lay_out(plan))


def render_text(environment: "Environment", name: str, view: Mapping[str, Any], **more: object) -> str:
    """Render one template with `g` and `more`. Raises jinja2.TemplateError and what the template raises."""
    pieces = []
    size = 0
    for piece in environment.get_template(name).generate(g=view, **more):
        size += len(piece)
        if size > _MOST_OUTPUT:
            raise MisuseError(f"the template {name} writes more than {_MOST_OUTPUT} characters")
        pieces.append(piece)
    return "".join(pieces)


def _template_error(name: str, error: "TemplateError") -> MisuseError:
    line = getattr(error, "lineno", None)
    place = f"{getattr(error, 'name', None) or name}:{line}" if line else name
    return MisuseError(f"the template {place} failed: {comment(error)}")
