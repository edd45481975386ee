"""Every operation is planned and checked, and says of itself what others ask."""

import ast
from pathlib import Path

import pathgen
from pathgen.programs.paths import PATHS
from pathgen.verify.comparing import CHECKS
from pathgen.work.operations import every_operation


def test_every_operation_is_in_both_tables():
    assert len(every_operation()) > 10
    assert set(PATHS) == every_operation() == set(CHECKS)


def test_every_operation_is_checked_by_something():
    assert all(checks.moves or checks.step or checks.work for checks in CHECKS.values())


def test_names_are_unlike_and_nobody_else_asks_for_them():
    names = [kind.name for kind in every_operation()]
    assert len(set(names)) == len(names)
    asked = []
    for path in Path(pathgen.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())) if path.name != "operations.py" else ():
            sides = [node.left, *node.comparators] if isinstance(node, ast.Compare) else []
            if any(isinstance(s, ast.Attribute) and ast.unparse(s).endswith(("operation", "operation.name"))
                   for s in sides):
                asked.append(f"{path.name}: {ast.unparse(node)}")
    assert not asked
