"""What can be tested of the ten rules for code that must not fail, on all generated code.

G. J. Holzmann, The Power of 10: Rules for Developing Safety-Critical Code, IEEE Computer 39(6), 2006,
p. 95-97 (the list of rules was checked against two copies of it; the wording is ours). DEVELOPERS.md answers
them one by one.
"""

import re
from pathlib import Path

import networkx as nx
import pytest
from support.builds import write_files
from support.cpp_tree import Node, call_graph, called, functions, lengths, nodes, own, tree

from sequencer.build.cross import CORTEX_M3, CrossCompiler, avr
from sequencer.build.programs import run_program
from sequencer.generate.render import generate
from sequencer.plan.tables import Plan

BAD = Path(__file__).parent / "bad.cpp"
MOST_LINES = 60  # of a function: a sheet of paper (rule 4)
MOST_LINES_OF_A_ROW = 30
# functions that are tables: a row for each phase, setpoint, rule, parameter or signal, all alike
TABLES = re.compile(
    r"(decide|enter)(_\w+)?|retarget|choose|judge_rules|write_parameter|start_over|forget|name_of|begin"
)


@pytest.fixture
def trees(plan: Plan, tmp_path: Path) -> list[Node]:
    files = generate(plan)
    write_files(files.items(), tmp_path)
    return [tree(tmp_path, name) for name in files if name.endswith(".cpp")]


@pytest.fixture
def bad(tmp_path: Path) -> Node:
    write_files([("bad.cpp", f"namespace bad {{\n{BAD.read_text(encoding='ascii')}\n}}\n")], tmp_path)
    return tree(tmp_path, "bad.cpp", "-ferror-limit=0", "-Wno-everything")


# -- 1: simple control flow, no recursion ---------------------------------------------------------------

JUMPS = ("GotoStmt", "IndirectGotoStmt", "LabelStmt", "CXXTryStmt", "CXXThrowExpr")


def jumps(parsed: Node) -> list[str]:
    found = [part["kind"] for piece in own(parsed) for part in nodes(piece, *JUMPS)]
    names = {called(call)["name"] for f in functions(parsed) for call in nodes(f, "CallExpr") if called(call)}
    return found + sorted(names & {"setjmp", "longjmp", "abort", "exit"})


def test_1_nothing_jumps(trees: list[Node]) -> None:
    assert [jumps(parsed) for parsed in trees] == [[]] * len(trees)


def test_1_nothing_calls_itself_not_even_by_others(trees: list[Node]) -> None:
    for parsed in trees:
        graph = call_graph(parsed)
        assert len(graph) > 3, "there is a graph to look at"
        assert nx.is_directed_acyclic_graph(graph)


def test_1_a_jump_and_a_recursion_are_found(bad: Node) -> None:
    assert "GotoStmt" in jumps(bad)
    assert not nx.is_directed_acyclic_graph(call_graph(bad))


# -- 2: every loop has a bound that stands in the text --------------------------------------------------


def unbounded(parsed: Node) -> list[str]:
    """List the loops that do not count up to a number by ones, or whose counter is written inside."""
    found = [part["kind"] for piece in own(parsed) for part in nodes(piece, "WhileStmt", "DoStmt")]
    for loop in (part for piece in own(parsed) for part in nodes(piece, "ForStmt")):
        start, _, condition, step, body = loop["inner"]
        counter = next(nodes(start, "VarDecl"), None)
        counts = counter is not None and "float" not in counter["type"]["qualType"]
        bound = condition.get("opcode") == "<" and next(nodes(condition["inner"][1], "IntegerLiteral"), None)
        ones = step.get("kind") == "UnaryOperator" and step.get("opcode") == "++"
        if not (counts and bound and ones and counter and not _writes(body, counter["id"])):
            found.append(f"for at {loop['range']}")
    return found


def _writes(body: Node, variable: str) -> bool:
    changes = [n for n in nodes(body, "BinaryOperator") if n["opcode"] == "="]
    changes += nodes(body, "CompoundAssignOperator")
    changes += [n for n in nodes(body, "UnaryOperator") if n["opcode"] in {"++", "--", "&"}]
    targets = [n["inner"][0] for n in changes]
    return any(
        t["kind"] == "DeclRefExpr" and t.get("referencedDecl", {}).get("id") == variable for t in targets
    )


def test_2_every_loop_counts_up_to_a_number_in_the_text(trees: list[Node]) -> None:
    assert [unbounded(parsed) for parsed in trees] == [[]] * len(trees)


def test_2_a_loop_without_such_a_bound_is_found(bad: Node, tmp_path: Path) -> None:
    assert len(unbounded(bad)) == 1, "it counts in float"
    loops = "for (int i = 0; i < n; ++i) {} for (int i = 0; i < 9; ++i) { i = 2; }"
    write_files([("loops.cpp", f"namespace g {{ void f(int n) {{ {loops} }} }}\n")], tmp_path)
    assert len(unbounded(tree(tmp_path, "loops.cpp"))) == 2


# -- 3: nothing from the heap ---------------------------------------------------------------------------

# what the compilers themselves call: arithmetic of float and of long, tables of switches, blocks of memory
ARITHMETIC = re.compile(r"__\w+|mem(cpy|set)|_ZN\d.*")


@pytest.mark.parametrize("compiler", [avr("atmega328p"), CORTEX_M3], ids=["8 bits", "32 bits"])
def test_3_objects_ask_for_arithmetic_only(plan: Plan, compiler: CrossCompiler, tmp_path: Path) -> None:
    assert asked_for(generate(plan), compiler, tmp_path) == []


def asked_for(files: dict[str, str], compiler: CrossCompiler, folder: Path) -> list[str]:
    """List the names that objects need from elsewhere, but for arithmetic."""
    write_files(files.items(), folder)
    found = []
    for source in (name for name in files if name.endswith(".cpp")):
        run_program([compiler.program, *compiler.flags, "-c", "-o", "only.o", source], folder=folder)
        listed = run_program([compiler.size.replace("size", "nm"), "-u", "only.o"], folder=folder)
        found += [line.split()[-1] for line in listed.splitlines() if line.strip()]
    return [name for name in found if not ARITHMETIC.fullmatch(name)]


def test_3_memory_from_the_heap_is_found(tmp_path: Path) -> None:
    files = {"bad.cpp": BAD.read_text(encoding="ascii")}
    assert "malloc" in asked_for(files, avr("atmega328p").with_flags("-w"), tmp_path)


# -- 4: short functions ---------------------------------------------------------------------------------


def too_long(text: str) -> list[str]:
    found = [
        f"{n}: {size}" for n, size in lengths(text).items() if size > MOST_LINES and not TABLES.fullmatch(n)
    ]
    return found + [f"a row of {size} lines" for size in rows(text) if size > MOST_LINES_OF_A_ROW]


def rows(text: str) -> list[int]:
    """Measure what a table consists of: a case, or a block of its own."""
    sizes = [len(part.splitlines()) for part in re.findall(r"^    case .*?^      break;$", text, re.M | re.S)]
    return sizes + [len(part.splitlines()) for part in re.findall(r"^  \{$.*?^  \}$", text, re.M | re.S)]


def test_4_functions_fit_on_a_sheet_and_tables_have_short_rows(plan: Plan) -> None:
    for text in generate(plan).values():
        assert too_long(text) == []


def test_4_a_long_function_and_a_long_row_are_found() -> None:
    lines = "  x = 1;\n" * 61
    assert too_long(f"static void walk(State& s) {{\n{lines}}}\n") == ["walk: 63"]
    assert too_long(f"static void enter(State& s) {{\n    case one:\n{lines}      break;\n}}\n") == [
        "a row of 63 lines"
    ]


# -- 5: what must hold is asked -------------------------------------------------------------------------


def test_5_what_numbers_must_be_like_is_asserted_where_it_is_built(plan: Plan) -> None:
    for name, text in generate(plan).items():
        if name.endswith(".cpp") and "float" in code_of(text):
            assert "__FAST_MATH__" in text and "__FLT_EVAL_METHOD__" in text, name
    assert re.search(
        r"static_assert\((sizeof\(float\) == 4U|\(-5 >> 1\) == -3)", "".join(generate(plan).values())
    )


def code_of(text: str) -> str:
    return "\n".join(line.partition("//")[0] for line in text.splitlines())


# -- 6: the smallest scope ------------------------------------------------------------------------------


def outside_functions(parsed: Node) -> list[str]:
    """List variables outside functions that can be written to."""
    found = [part for part in own(parsed) if part["kind"] == "VarDecl"]
    statics = [v for f in functions(parsed) for v in nodes(f, "VarDecl") if v.get("storageClass") == "static"]
    return [v["name"] for v in (*found, *statics) if not v["type"]["qualType"].startswith("const ")]


def test_6_no_state_but_what_the_caller_owns(trees: list[Node]) -> None:
    assert [outside_functions(parsed) for parsed in trees] == [[]] * len(trees)


def test_6_state_of_its_own_is_found(tmp_path: Path) -> None:
    write_files(
        [("state.cpp", "namespace g { int a; static int b; void f() { static int c; c = b; } }\n")], tmp_path
    )
    assert outside_functions(tree(tmp_path, "state.cpp")) == ["a", "b", "c"]


# -- 7: what a function gives is used -------------------------------------------------------------------


def dropped(parsed: Node) -> list[str]:
    """List calls whose value is dropped without a word."""
    found = []
    for block in (
        part for f in functions(parsed) for part in nodes(f, "CompoundStmt", "CaseStmt", "DefaultStmt")
    ):
        for call in block.get("inner", ()):
            if call["kind"] == "CallExpr" and call["type"]["qualType"] != "void":
                function = called(call)
                found.append("" if function is None else function["name"])
    return [name for name in found if name not in {"__builtin_memcpy"}]  # it gives back its first argument


def test_7_no_value_is_dropped_without_a_word(trees: list[Node]) -> None:
    assert [dropped(parsed) for parsed in trees] == [[]] * len(trees)


def test_7_a_dropped_value_is_found(tmp_path: Path) -> None:
    write_files(
        [("drop.cpp", "namespace g { int f(); void h() { f(); static_cast<void>(f()); } }\n")], tmp_path
    )
    assert dropped(tree(tmp_path, "drop.cpp")) == ["f"]


# -- 8: the preprocessor --------------------------------------------------------------------------------


def odd_directives(text: str) -> list[str]:
    """List directives that do more than include, guard, ask for a compiler, or name hooks."""
    found = []
    for line in (line.strip() for line in text.splitlines() if line.lstrip().startswith("#")):
        plain = re.match(r"#(include|ifn?def|if defined|else|endif|error)\b", line)
        macro = re.match(r"#define [A-Z][A-Z0-9_]*(?:\((?:\w+(?:, )?)*\))?(?: (.*))?$", line)
        if not plain and not (macro and "##" not in line and "..." not in line):
            found.append(line)
    return found


def test_8_the_preprocessor_includes_guards_and_names_hooks(plan: Plan) -> None:
    for text in generate(plan).values():
        assert odd_directives(text) == []


def test_8_pasting_and_open_ended_macros_are_found() -> None:
    assert odd_directives("#define JOIN(a, b) a##b\n#define LOG(...) 0\n#undef X\n#define GOOD 1\n") == [
        "#define JOIN(a, b) a##b",
        "#define LOG(...) 0",
        "#undef X",
    ]


# -- 9: pointers ----------------------------------------------------------------------------------------


def pointers(parsed: Node) -> list[str]:
    """List what is declared as a pointer, is taken through one, or is called without its name."""
    kinds = ("VarDecl", "ParmVarDecl", "FieldDecl")
    declared = [part for piece in own(parsed) for part in nodes(piece, *kinds)]
    found = [part.get("name", "") for part in declared if "*" in part["type"]["qualType"]]
    for function in functions(parsed):
        signs = [part["opcode"] for part in nodes(function, "UnaryOperator") if part["opcode"] in "&*"]
        found += [f"{sign} in {function['name']}" for sign in signs if function["name"] != "bits_of"]
        found += [function["name"] for call in nodes(function, "CallExpr") if called(call) is None]
    return found


def test_9_there_are_no_pointers_and_every_call_names_its_function(trees: list[Node]) -> None:
    assert [pointers(parsed) for parsed in trees] == [[]] * len(trees)


def test_9_pointers_to_data_and_to_functions_are_found(bad: Node, tmp_path: Path) -> None:
    assert "m" in pointers(bad)
    write_files([("call.cpp", "namespace g { void f(void (*h)()) { h(); } }\n")], tmp_path)
    assert pointers(tree(tmp_path, "call.cpp")) == ["h", "f"]


# -- 10, every warning, checkers: test_checkers.py, test_known_bad.py, tests/generate/test_compiles.py
