"""Generated C++ as clang reads it: its syntax tree, its call graph, the lengths of its functions."""

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import networkx as nx

from sequencer.build.programs import run_program

Node = dict[str, Any]


def tree(folder: Path, source: str, *flags: str) -> Node:
    """Parse a source; give the whole tree as clang's JSON has it. Raises ToolError."""
    command = ["clang++", "-std=c++11", "-fsyntax-only", "-Xclang", "-ast-dump=json", *flags, source]
    parsed: Node = json.loads(run_program(command, folder=folder))
    return parsed


def nodes(node: Node, *kinds: str) -> Iterator[Node]:
    """Give all nodes below one, itself included; of some kinds, or all."""
    stack = [node]
    while stack:
        current = stack.pop()
        if not kinds or current.get("kind") in kinds:
            yield current
        stack.extend(current.get("inner", ()))


def own(parsed: Node) -> Iterator[Node]:
    """Give what stands in the gait's own namespace, headers included."""
    for part in parsed["inner"]:
        if part["kind"] == "NamespaceDecl":
            yield from part.get("inner", ())


def functions(parsed: Node) -> list[Node]:
    """List the functions with a body."""
    found = [part for piece in own(parsed) for part in nodes(piece, "FunctionDecl")]
    return [f for f in found if any(part["kind"] == "CompoundStmt" for part in f.get("inner", ()))]


def called(call: Node) -> Node | None:
    """Give the function that a call names; None if it is not named but computed."""
    target = call["inner"][0]
    while target["kind"] in {"ImplicitCastExpr", "ParenExpr"}:
        (target,) = target["inner"]
    declared: Node | None = target.get("referencedDecl")
    return declared if declared is not None and declared["kind"] == "FunctionDecl" else None


def call_graph(parsed: Node) -> "nx.DiGraph[str]":
    """Draw who calls whom; functions of one name and type are one."""
    graph: nx.DiGraph[str] = nx.DiGraph()
    for function in functions(parsed):
        caller = _key(function)
        for call in nodes(function, "CallExpr"):
            callee = called(call)
            if callee is not None:
                graph.add_edge(caller, _key(callee))
    return graph


def _key(function: Node) -> str:
    return f"{function['name']} {function['type']['qualType']}"


def lengths(text: str) -> dict[str, int]:
    """Give the lines of each function of a generated source, from its head to its closing brace."""
    found, start, name = {}, 0, ""
    for number, line in enumerate(text.splitlines()):
        head = re.match(r"[\w:<>&* ]*?\b(\w+)\([^;]*\) \{$", line)
        if head is not None and not line.startswith(" "):
            start, name = number, head[1]
        if line == "}" and name:
            found[name] = max(found.get(name, 0), number - start + 1)
            name = ""
    return found
