"""Names and texts of a gait as they may stand in C++."""

import re
import unicodedata
from collections.abc import Collection, Iterable
from pathlib import PurePath, PureWindowsPath

from sequencer.base.errors import MisuseError
from sequencer.base.places import Place
from sequencer.gait.reserved import is_library_name, is_reserved

_IDENTIFIER = re.compile(r"[A-Za-z_][A-Za-z0-9_]*", re.ASCII)
_LONGEST_COMMENT = 160
_LONGEST_NAME = 60  # ISO C++ allows far more; old tools look at the first 63 characters only


def check_identifier(name: str) -> str:
    """Return the name if it is a plain ASCII identifier, else raise MisuseError: it must not reach C++."""
    if not _IDENTIFIER.fullmatch(name):
        raise MisuseError(
            f"the name {comment(name)!r} cannot stand in generated code",
            hint="use letters a to z, digits and underscores, starting with a letter",
        )
    return name


def _tidy(name: str) -> str:
    """Without doubled, leading or trailing underscores, which C++ reserves or which would double up."""
    return re.sub(r"_+", "_", name).strip("_") or "x"


def bare_names(names: Iterable[str], taken: Collection[str] = ()) -> list[str]:
    """Spell names for an enum class: reserved words and `taken` get a trailing underscore; all differ.

    Names in capitals are taken for macros of a board's headers.

    >>> bare_names(["stance", "register", "PI"])
    ['stance', 'register_', 'PI_']
    """
    tidy = [_tidy(check_identifier(name)) for name in names]
    return _distinct(
        [f"{name}_" if is_reserved(name) or name.isupper() or name in taken else name for name in tidy]
    )


def file_stem(name: str) -> str:
    """Spell a name for a namespace and its files, clear of those of the C and board libraries.

    >>> file_stem("stork_stepping"), file_stem("string"), file_stem("new")
    ('stork_stepping', 'string_', 'new_')
    """
    (bare,) = bare_names([name])
    return f"{bare}_" if is_library_name(bare) else bare


def prefixed_names(prefix: str, names: Iterable[str]) -> list[str]:
    """Spell names behind a prefix, which keeps them clear of keywords and macros; all differ.

    >>> prefixed_names("signal", ["body_roll", "_x", "x"])
    ['signal_body_roll', 'signal_x', 'signal_x_2']
    """
    return _distinct([f"{prefix}_{_tidy(check_identifier(name))}" for name in names])


def slugs(prefix: str, texts: Iterable[str]) -> list[str]:
    """Make names from free texts (the names of rules).

    >>> slugs("rule", ["weight on the standing leg", "??", ""])
    ['rule_weight_on_the_standing_leg', 'rule_x', 'rule_x_2']
    """
    words = [_tidy(re.sub(r"[^A-Za-z0-9]+", "_", comment(text))) for text in texts]
    return _distinct([f"{prefix}_{word}"[:_LONGEST_NAME].rstrip("_") for word in words])


def _distinct(names: list[str]) -> list[str]:
    """Add a number to the later of equal names, in a way that meets no other name."""
    taken = set(names)
    seen: set[str] = set()
    result = []
    for name in names:
        spelled, count = name, 1
        while spelled in seen or (count > 1 and spelled in taken):
            count += 1
            spelled = f"{name.rstrip('_')}_{count}"
        seen.add(spelled)
        result.append(spelled)
    return result


def comment(text: object, longest: int = _LONGEST_COMMENT) -> str:
    r"""Make any text fit for a `//` comment: one line of printable ASCII that can end or open nothing.

    A `//` comment that ends in a backslash would swallow the next line, and ``??/`` is such a backslash.

    >>> comment("5 °C \\"), comment("*/ ??/"), comment("a\nb")
    ('5 C /', '* / ? ?/', 'a b')
    """
    one_line = " ".join(str(text).split())
    plain = unicodedata.normalize("NFKD", one_line).encode("ascii", "ignore").decode()
    plain = "".join(c if c.isprintable() else " " for c in plain).replace("\\", "/")
    for pair in ("*/", "/*"):
        while pair in plain:
            plain = plain.replace(pair, f"{pair[0]} {pair[1]}")
    while "??" in plain:
        plain = plain.replace("??", "? ?")
    plain = " ".join(plain.split())
    return plain if len(plain) <= longest else plain[: longest - 3].rstrip() + "..."


def file_name(path: str) -> str:
    """Return the last part of a path: generated text holds no directories of the machine it was made on."""
    return comment(PureWindowsPath(PurePath(path).name).name)


def where(place: Place) -> str:
    """Spell a place for a comment, as file:line:column."""
    return f"{file_name(place.file)}:{place.line}:{place.column}"
