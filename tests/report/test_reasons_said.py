"""Has every reason for which a number is not there its own sentence on the paper?"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import survstats
from survstats.report.wording import catalogue

PACKAGE = Path(survstats.__file__).parent
#: Calls whose first argument is a code, and functions that return one.
CALLED = {"NotEstimable", "leave_out"}
RETURNED = {"no_half_life", "too_few"}


def literals(node: ast.AST) -> Iterator[str]:
    """Texts in an expression but for keys by which something else is looked up."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield node.value
    elif isinstance(node, ast.Subscript):
        yield from literals(node.value)
    elif isinstance(node, ast.Compare | ast.JoinedStr):
        return
    elif isinstance(node, ast.IfExp):
        yield from (*literals(node.body), *literals(node.orelse))
    elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "get":
        for default in node.args[1:]:
            yield from literals(default)
    else:
        for inner in ast.iter_child_nodes(node):
            yield from literals(inner)


def codes_of(tree: ast.AST) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and node.args:
            if getattr(node.func, "id", getattr(node.func, "attr", "")) in CALLED:
                yield from literals(node.args[0])
        elif isinstance(node, ast.FunctionDef) and node.name in RETURNED:
            for one in ast.walk(node):
                if isinstance(one, ast.Return) and one.value is not None:
                    yield from literals(one.value)


def test_every_reason_has_a_sentence():
    codes = {
        code: path.name
        for path in sorted(PACKAGE.rglob("*.py"))
        for code in codes_of(ast.parse(path.read_text(encoding="utf-8")))
    }
    assert len(codes) > 40
    assert {"no_gain_shown", "fading_not_seen", "few_mishaps", "separated"} <= codes.keys()
    said = catalogue("en")["reason"]
    assert {code: place for code, place in codes.items() if code not in said} == {}
