"""The diagram as a graph: blocks for nodes, and links that keep the walk in columns; its graphviz source."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Literal

import graphviz

from sequencer.base.errors import MisuseError
from sequencer.check.durations import Duration, durations
from sequencer.plan.tables import Plan
from sequencer.show.diagram.blocks import Block
from sequencer.show.diagram.cards import Scene, card, phase_name
from sequencer.show.diagram.feet import feet_of
from sequencer.show.diagram.ribbons import heading, ribbons
from sequencer.show.diagram.tags import guard_name, guard_tag, timeout_tag
from sequencer.show.diagram.targets import targets
from sequencer.show.diagram.text import tidy
from sequencer.show.diagram.walk import Walk, walk_of

HEADING = 640.0  # width of the title, points


@dataclass(frozen=True, slots=True)
class Link:
    """One half of an arrow, upper end first: `arrow` says at which end its head is."""

    upper: str
    lower: str
    arrow: Literal["none", "upper", "lower"]
    kind: Literal["walk", "other", "fault"]
    upper_side: str = ""  # compass point at which it leaves, or empty
    lower_side: str = ""


@dataclass(slots=True)
class Part:
    """The blocks and links of one sequence.

    level: blocks that stand side by side. under, order: pairs of which the second
    stands lower, or further to the right. column: blocks that
    keep in line with others of the same column. heads, closings, bends: sentences on bends
    over the columns' heads, over those to close the ring, and under the columns' feet.
    """

    name: str
    title: str
    blocks: list[Block] = field(default_factory=list)
    links: list[Link] = field(default_factory=list)
    level: list[tuple[str, ...]] = field(default_factory=list)
    under: list[tuple[str, str]] = field(default_factory=list)
    order: list[tuple[str, str]] = field(default_factory=list)
    column: dict[str, str] = field(default_factory=dict)
    heads: list[str] = field(default_factory=list)
    closings: list[str] = field(default_factory=list)
    bends: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Graph:
    """A whole diagram before it is laid out."""

    name: str
    about: str
    heading: Block
    ribbons: tuple[Block, ...]
    parts: tuple[Part, ...]


def graph_of(plan: Plan, highlight: Mapping[str, str], *, times: bool = False) -> Graph:
    """Build the graph of a plan; `highlight` maps ``phase`` or ``sequence/phase`` to a short text.

    times: whether cards say how long their phases take.

    Raises MisuseError if `highlight` names a phase that is not there.
    """
    after, feet = targets(plan), feet_of(plan)
    marks = _marks(plan, highlight)
    taken = _times(plan) if times else {}
    parts = []
    for s, sequence in enumerate(plan.sequences):
        walk = walk_of(plan, s)
        scene = Scene(plan, s, walk, after[s], feet, _ways_in(plan, s, walk), marks[s], taken.get(s, {}))
        parts.append(_part(scene, sequence.name))
    told = [f"{q.name}: {', '.join(p.name for p in q.phases)}." for q in plan.sequences]
    about = tidy(" ".join([f"{plan.about}.", *told] if plan.about else told))
    return Graph(
        plan.name, about, heading(plan, HEADING), tuple(ribbons(plan, feet=feet is not None)), tuple(parts)
    )


def _times(plan: Plan) -> dict[int, dict[int, Duration]]:
    found: dict[int, dict[int, Duration]] = {}
    for duration in durations(plan):
        found.setdefault(duration.sequence, {})[duration.phase] = duration
    return found


def _marks(plan: Plan, highlight: Mapping[str, str]) -> list[dict[int, str]]:
    marks: list[dict[int, str]] = [{} for _ in plan.sequences]
    for name, text in highlight.items():
        sequence, _, phase = name.rpartition("/")
        found = [
            (s, i)
            for s, q in enumerate(plan.sequences)
            for i, p in enumerate(q.phases)
            if p.name == phase and sequence in ("", q.name)
        ]
        if not found:
            raise MisuseError(f"there is no phase {name} to mark in {plan.name}")
        for s, i in found:
            marks[s][i] = text
    return marks


def _ways_in(plan: Plan, sequence: int, walk: Walk) -> tuple[str, ...]:
    """Say for each phase how it is entered by what is not drawn as an arrow."""
    table = plan.sequences[sequence]
    told = []
    for i in range(len(table.phases)):
        watched = [str(n + 1) for n, w in enumerate(plan.anywhere) if w.to[sequence] == i]
        rules = sum(r.to is not None and r.to[sequence] == i for r in plan.rules)
        faults = sum(
            p.timeout is not None and p.timeout.to == i and k not in walk.drawn_timeouts
            for k, p in enumerate(table.phases)
        )
        guards = sum(
            e.to == i and i != k and (k, n) not in walk.drawn_exits
            for k, p in enumerate(table.phases)
            for n, e in enumerate(p.exits)
        )
        ways = [f"watched {', '.join(watched)}"] * bool(watched)
        ways += [_count(rules, "broken rule")] * bool(rules)
        ways += [f"faults of {_count(faults, 'phase')}"] * bool(faults)
        ways += [f"{_count(guards, 'guard')} written on other cards"] * bool(guards)
        told.append(f"also entered by: {'; '.join(ways)}" if ways else "")
    return tuple(told)


def _count(n: int, noun: str) -> str:
    return f"{n} {noun}{'' if n == 1 else 's'}"


def _part(scene: Scene, title: str) -> Part:
    s, walk = scene.sequence, scene.walk
    phases = scene.plan.sequences[s].phases
    part = Part(f"sequence_{s}", title)
    rows = _rows(walk)
    part.blocks += [card(scene, i) for i in range(len(phases))]
    for c, column in enumerate(walk.columns):
        part.column |= {phase_name(s, i): f"column_{s}_{c}" for i in column}
    part.column |= {phase_name(s, i): f"column_{s}_0" for i in walk.lead}
    for i, k in sorted(walk.drawn_exits):
        tag = guard_tag(scene.plan, s, i, k)
        part.blocks.append(tag)
        _connect(part, scene, rows, tag.name, (i, phases[i].exits[k].to))
    for i in sorted(walk.drawn_timeouts):
        timeout = phases[i].timeout
        assert timeout is not None
        tag = timeout_tag(scene.plan, s, i)
        part.blocks.append(tag)
        _connect(part, scene, rows, tag.name, (i, timeout.to))
    if len(walk.columns) > 1:
        by_row: dict[int, list[str]] = {}
        for i in walk.ring:
            by_row.setdefault(rows[i], []).append(phase_name(s, i))
        part.level += [tuple(names) for names in by_row.values()]
        part.order += [pair for names in by_row.values() for pair in pairwise(names)]
    if walk.lead:
        part.under += [(phase_name(s, walk.lead[-1]), over) for over in part.closings]
    part.under += [(over, head) for over in part.closings for head in part.heads]
    _place_aside(part, scene, rows)
    return part


def _rows(walk: Walk) -> dict[int, int]:
    """Give each phase the row its card stands in, counted from the top down."""
    rows = {phase: r for r, phase in enumerate(walk.lead)}
    for c, column in enumerate(walk.columns):
        down = column if c % 2 == 0 else column[::-1]
        rows |= {phase: len(walk.lead) + r for r, phase in enumerate(down)}
    aside = 0 if _beside(walk) else max(rows.values()) + 1
    return rows | dict.fromkeys(walk.aside, aside)


def _beside(walk: Walk) -> bool:
    """Tell whether there is room for the phases aside of the walk in the top row."""
    return bool(walk.lead) and len(walk.columns) > 1 and len(walk.aside) < len(walk.columns)


def _connect(part: Part, scene: Scene, rows: dict[int, int], tag: str, ends: tuple[int, int]) -> None:
    """Link source card, sentence and destination card so that the rows stay as they are."""
    walk = scene.walk
    a, b = ends
    source, goal = phase_name(scene.sequence, a), phase_name(scene.sequence, b)
    fault = tag.startswith("fault")
    walks = walk.follows(a, b) and not fault
    kind: Literal["walk", "other", "fault"] = "fault" if fault else "walk" if walks else "other"
    turns = walks and _column_of(walk, a) != _column_of(walk, b)
    if turns and len(walk.columns) > 2:
        _turn(part, walk, tag, (a, b), (source, goal))
    elif rows[a] == rows[b]:
        if (_column_of(walk, a), a) <= (_column_of(walk, b), b):
            part.level.append((source, tag, goal))
            part.links += [Link(source, tag, "none", kind), Link(tag, goal, "lower", kind)]
        else:
            part.level.append((goal, tag, source))
            part.links += [Link(goal, tag, "upper", kind), Link(tag, source, "none", kind)]
    elif rows[a] < rows[b]:
        part.links += [Link(source, tag, "none", kind), Link(tag, goal, "lower", kind)]
    elif turns:  # the foot of a shorter second column: the sentence stands in the place of its last card
        part.level.append((source, tag))
        part.column[tag] = part.column[goal]
        part.links += [Link(source, tag, "none", kind), Link(goal, tag, "upper", kind)]
    else:
        part.links += [Link(goal, tag, "upper", kind), Link(tag, source, "none", kind)]
        _stand_beside(part, scene, rows, tag, ends)
    if walks and not turns and rows[b] - rows[a] in (-1, 1) and _leads(scene, tag, ends):
        part.column[tag] = part.column[source]


def _leads(scene: Scene, tag: str, ends: tuple[int, int]) -> bool:
    """Tell whether a sentence is the first of those to the next phase, and does not just close the ring."""
    exits = scene.plan.sequences[scene.sequence].phases[ends[0]].exits
    first = next(k for k, leave in enumerate(exits) if leave.to == ends[1])
    forth = ends[1] not in (*scene.walk.lead, scene.walk.ring[0]) or ends[0] in scene.walk.lead
    return forth and tag == guard_name(scene.sequence, ends[0], first)


def _stand_beside(part: Part, scene: Scene, rows: dict[int, int], tag: str, ends: tuple[int, int]) -> None:
    """Set the sentence of an arrow that goes up past other cards beside the middle one of these."""
    if abs(rows[ends[0]] - rows[ends[1]]) < 2:
        return
    middle = (rows[ends[0]] + rows[ends[1]] + 1) // 2
    order = scene.walk.lead + (scene.walk.columns[0])
    passed = [i for i in order if rows[i] == middle and i not in ends]
    if passed:
        part.level.append((phase_name(scene.sequence, passed[0]), tag))


def _turn(part: Part, walk: Walk, tag: str, ends: tuple[int, int], names: tuple[str, str]) -> None:
    """Lead the walk from one column into the next by a bend under their feet or over their heads."""
    source, goal = names
    closing = ends[1] == walk.ring[0]
    if _column_of(walk, ends[0]) % 2 == 0 and not closing:
        part.links += [
            Link(source, tag, "none", "walk", "s", "w"),
            Link(goal, tag, "upper", "walk", "s", "e"),
        ]
        part.bends.append(tag)
    else:
        sides = ("e", "w") if closing else ("w", "e")
        (part.closings if closing else part.heads).append(tag)
        part.links += [
            Link(tag, source, "none", "walk", sides[0], "n"),
            Link(tag, goal, "lower", "walk", sides[1], "n"),
        ]


def _column_of(walk: Walk, phase: int) -> int:
    return next(
        (c for c, column in enumerate(walk.columns) if phase in column),
        0 if phase in walk.lead else len(walk.columns),
    )


def _place_aside(part: Part, scene: Scene, rows: dict[int, int]) -> None:
    """Put phases outside of the walk beside its top or under its end, linked or not."""
    walk, s = scene.walk, scene.sequence
    names = [phase_name(s, i) for i in walk.aside]
    if not names:
        return
    part.order += pairwise(names)
    if _beside(walk):
        part.level.append((phase_name(s, walk.lead[0]), *names))
    else:
        lowest = max(walk.lead + walk.ring, key=lambda i: (rows[i], -_column_of(walk, i)))
        part.under += [(upper, name) for upper in (phase_name(s, lowest), *part.bends) for name in names]
        part.level.append(tuple(names))
        part.column[names[0]] = part.column[phase_name(s, lowest)]


def source_of(graph: Graph) -> str:
    """Return the graph as DOT text: every block a box of fixed size that holds its texts as plain lines."""
    dot = graphviz.Digraph(
        "walk",
        graph_attr={
            "rankdir": "TB", "nodesep": "0.3", "ranksep": "0.22", "splines": "true", "fontname": "Helvetica",
            "fontsize": "10", "labelloc": "b", "labeljust": "l", "bgcolor": "white",
            "label": _label(_beside_text(graph)),
        },
        node_attr={
            "shape": "box", "fixedsize": "true", "fontname": "Helvetica", "fontsize": "8", "margin": "0.05",
        },
        edge_attr={"arrowsize": "0.7"},
    )  # fmt: skip
    for part in graph.parts:
        if len(graph.parts) > 1:
            with dot.subgraph(name=f"cluster_{part.name}") as cluster:
                cluster.attr(label=_label([part.title]), labelloc="t")
                _write_part(cluster, part)
        else:
            _write_part(dot, part)
    return str(dot.source)


def _beside_text(graph: Graph) -> list[str]:
    """Return what stands beside the walk; how to read the painted signs is of no use in plain boxes."""
    blocks = [graph.heading, *(r for r in graph.ribbons if r.key != "reading")]
    return [line for block in blocks for line in (*block.lines, "")]


def _write_part(dot: graphviz.Digraph, part: Part) -> None:
    for block in part.blocks:
        more = {"group": part.column[block.name]} if block.name in part.column else {}
        more |= _KINDS.get(block.kind, {})
        size = {"width": f"{block.width / 72:.3f}", "height": f"{block.height / 72:.3f}"}
        dot.node(block.name, label=_label(block.lines), tooltip=_inert(block.title), **size, **more)
    for link in part.links:
        look = _LINKS[link.kind] | {"dir": {"none": "none", "upper": "back", "lower": "forward"}[link.arrow]}
        straight = part.column.get(link.upper, "") == part.column.get(link.lower)
        look |= {"weight": "10"} if straight else {}
        look |= {"tailport": link.upper_side} if link.upper_side else {}
        look |= {"headport": link.lower_side} if link.lower_side else {}
        dot.edge(link.upper, link.lower, **look)
    for first, second in part.under + part.order:
        dot.edge(first, second, style="invis")
    for names in _merged(part.level):
        with dot.subgraph() as level:
            level.attr(rank="same")
            for name in names:
                level.node(name)


def _merged(levels: list[tuple[str, ...]]) -> Iterator[list[str]]:
    """Join levels that share a block."""
    left = [list(level) for level in levels]
    while left:
        joined = left.pop(0)
        grew = True
        while grew:
            grew = False
            for other in left:
                if set(other) & set(joined):
                    joined += [name for name in other if name not in joined]
                    left.remove(other)
                    grew = True
                    break
        yield joined


_KINDS = {
    "phase stop": {"penwidth": "3"},
    "phase rest": {"peripheries": "2", "style": "rounded"},
    "phase step": {"style": "rounded"},
    "guard": {"color": "white"},
    "fault": {"style": "dashed"},
}
_LINKS: dict[str, dict[str, str]] = {
    "walk": {"penwidth": "1.8"},
    "other": {},
    "fault": {"style": "dashed"},
}


def _label(lines: Iterable[str]) -> str:
    """Join lines for a label, left-justified; folded, as graphviz reads at most 16 kB at a time."""
    return "\\\n".join(f"{_inert(line)}\\l" for line in lines)


def _inert(text: str) -> str:
    """Return a text that graphviz shows as it stands: it reads backslash escapes and HTML entities."""
    return str(graphviz.escape(text)).replace("&", "&amp;")
