"""The report as one HTML file: template, styles and scripts of templates/report/, and the document in it.

The page may run its own scripts and nothing else, and may fetch nothing: it says so itself in a content
security policy (W3C Content Security Policy Level 3), with the hashes of what it carries.
"""

import base64
import hashlib
import json
from typing import TYPE_CHECKING, Any

from sequencer.generate.render import templates_root
from sequencer.show.report.document import ReportDocument, as_data
from sequencer.show.report.tables import phase_times, rules_fared, supply_spare

if TYPE_CHECKING:
    from pathlib import Path

    from markupsafe import Markup

LAST_SCRIPT = "start.js"  # sets the page in motion; all others only define things
MARK = b'<meta name="generator" content="gait-sequencer report">'  # near the beginning of every report
_VENDOR = "vendor/uplot"
_UNSAFE = {
    ord("<"): "\\u003c",
    ord(">"): "\\u003e",
    ord("&"): "\\u0026",
    0x2028: "\\u2028",
    0x2029: "\\u2029",
}


def page_bytes(document: ReportDocument, diagram_svg: str) -> bytes:
    """Write a document as a page that opens offline in any browser. Same document, same bytes.

    diagram_svg: the walk's diagram, or empty if there is none.
    """
    from jinja2 import Environment, FileSystemLoader, StrictUndefined
    from markupsafe import Markup

    folder = templates_root() / "report"
    environment = Environment(
        loader=FileSystemLoader(folder),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        autoescape=True,
    )
    scripts, styles = scripts_text(folder), styles_text(folder)
    text = environment.get_template("report.html.j2").render(
        doc=document,
        diagram_svg=_inline_svg(diagram_svg),
        scripts=Markup(scripts),  # noqa: S704 - files that we carry
        styles=Markup(styles),  # noqa: S704 - our own files
        document_json=Markup(json_text(document)),  # noqa: S704 - nothing in it can end the script element
        phase_times=phase_times(document),
        rules_fared=rules_fared(document),
        supply_spare=supply_spare,
        csp=policy(scripts, styles),
        mark=Markup(MARK.decode()),  # noqa: S704 - a constant
    )
    return text.encode()


def json_text(document: ReportDocument) -> str:
    """Spell a document as JSON that may stand in a script element: no character of markup is left in it."""
    return json.dumps(_finite(as_data(document)), separators=(",", ":"), ensure_ascii=False).translate(
        _UNSAFE
    )


def _finite(value: Any) -> Any:
    """JSON knows no NaN and no infinity: they become null."""
    if isinstance(value, float):
        return value if value - value == 0 else None
    if isinstance(value, list):
        return [_finite(item) for item in value]
    if isinstance(value, dict):
        return {key: _finite(item) for key, item in value.items()}
    return value


def scripts_text(folder: "Path") -> str:
    """Join the plot library, with its licence, and our scripts."""
    licence, library = (
        (folder / _VENDOR / name).read_text(encoding="utf-8") for name in ("LICENSE", "uPlot.iife.min.js")
    )
    # all of it is one script, and strict only if this comes first
    return f'"use strict";\n/*! uPlot\n{licence}*/\n{library}\n{without_comments(own_text(folder))}'


def own_text(folder: "Path") -> str:
    """Join our own scripts; the one that starts the page comes last."""
    paths = sorted((folder / "scripts").glob("*.js"), key=lambda path: (path.name == LAST_SCRIPT, path.name))
    return "\n".join(path.read_text(encoding="utf-8") for path in paths)


def without_comments(script: str) -> str:
    """Take comments and needless spaces off: half of our scripts tells people and checkers what they mean.

    The squeezer does not know template literals within template literals; our scripts have none.
    """
    from rjsmin import jsmin

    return str(jsmin(script))


def styles_text(folder: "Path") -> str:
    """Join the plot library's styles and ours."""
    paths = [folder / _VENDOR / "uPlot.min.css", folder / "report.css"]
    return "\n".join(path.read_text(encoding="utf-8") for path in paths)


def policy(scripts: str, styles: str) -> str:
    """Write the content security policy of a page with these scripts and styles in it."""
    return (
        f"default-src 'none'; script-src {_hash(scripts)}; style-src {_hash(styles)}; img-src data:; "
        "base-uri 'none'; form-action 'none'"
    )


def _hash(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def _inline_svg(svg: str) -> "Markup":
    """Take the XML declaration off: in HTML an SVG begins with its element."""
    from markupsafe import Markup

    start = svg.find("<svg")
    return Markup(svg[start:] if start >= 0 else "")  # noqa: S704 - drawn by ourselves, texts escaped
