"""The house of DEVELOPERS.md, held to: data flows one way, and the verifier is a stranger to what it verifies."""

import ast
import re
from pathlib import Path

ROOT = Path(__file__).parents[1]
PACKAGES = {"artwork", "pocketing", "verify", "job", "report"}
STRATEGIES = {
    "surfacing", "pocketing", "slotting", "outlining", "second_cut", "marks", "drilling", "engraving", "piecing",
}


def room(module):
    """The room of the house that a module belongs to: a package as a whole, gcode by its modules."""
    parts = module.split(".")[1:]
    if not parts:
        return "__init__"
    return ".".join(parts[:2]) if parts[0] == "gcode" and len(parts) > 1 else parts[0]


def imports():
    """{room: rooms it imports}, imports for type checking alone left out."""
    found = {}
    for path in (ROOT / "pathgen").rglob("*.py"):
        module = ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
        tree = ast.parse(path.read_text())
        for node in _at_run_time(tree):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("pathgen"):
                found.setdefault(room(module), set()).add(room(node.module))
    return {name: others - {name} for name, others in found.items()}


def _at_run_time(tree):
    """Every node of a module that is not there for type checking alone."""
    for node in ast.iter_child_nodes(tree):
        if not (isinstance(node, ast.If) and getattr(node.test, "id", "") == "TYPE_CHECKING"):
            yield node
            yield from _at_run_time(node)


def rows():
    """{room: row} as DEVELOPERS.md has it."""
    table = re.findall(r"^\| (\d+) \| (.*?) \|", (ROOT / "DEVELOPERS.md").read_text(), re.M)
    return {
        name.rstrip("/").replace("gcode/", "gcode."): int(row)
        for row, names in table for name in re.findall(r"`([\w/]+)`", names)
    }


def test_every_room_stands_in_the_house_and_imports_only_from_rows_above_or_its_own():
    row = rows()
    graph = imports()
    assert set(graph) - {"gcode"} <= set(row)
    wrong = [f"{name} imports {other}" for name, others in graph.items() for other in others if row[other] > row[name]]
    assert wrong == []


def test_no_circles():
    graph, done = imports(), set()

    def visit(name, path):
        assert name not in path, " -> ".join([*path, name])
        if name not in done:
            for other in graph.get(name, ()):
                visit(other, [*path, name])
            done.add(name)

    for name in graph:
        visit(name, [])


def test_strangers():
    graph = imports()
    assert not graph["verify"] & (STRATEGIES | {"gcode.write", "plan", "job"})
    assert "gcode.write" not in graph["gcode.read"]
    assert "gcode.read" not in graph["gcode.write"]
