"""The house: data flows one way, a package imports only what the table allows, and nothing is unlisted."""

import ast
import re
from functools import cache
from pathlib import Path

PACKAGE = Path(__file__).parents[1] / "pathgen"

MAY_IMPORT = {
    "base": set(),
    "artwork": {"base"},
    "work": {"base"},
    "strategies": {"base", "work"},
    "parts": {"base", "work"},
    "programs": {"base", "work", "strategies"},
    "removal": {"base"},
    "verify": {"base", "work", "removal"},
    "job": {"base", "artwork", "work", "strategies", "parts", "programs"},
    "report": {"base", "work", "strategies", "parts", "programs", "removal", "verify"},
    "app": {"base", "artwork", "work", "strategies", "parts", "programs", "removal", "verify", "job", "report"},
}


@cache
def parsed(path):
    return ast.parse(path.read_text())


def imports():
    """{(package, package it imports)} at run time."""
    for path in PACKAGE.rglob("*.py"):
        inside = path.relative_to(PACKAGE).parts
        for node in _at_run_time(parsed(path)) if len(inside) > 1 else ():
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("pathgen."):
                yield inside[0], node.module.split(".")[1]


def _at_run_time(tree):
    """Every node of a module that is not there for type checking alone."""
    for node in ast.iter_child_nodes(tree):
        if not (isinstance(node, ast.If) and getattr(node.test, "id", "") == "TYPE_CHECKING"):
            yield node
            yield from _at_run_time(node)


def test_every_package_is_listed():
    assert {path.name for path in PACKAGE.iterdir() if path.is_dir() and path.name != "__pycache__"} == set(MAY_IMPORT)
    assert {path.name for path in PACKAGE.glob("*.py")} == {"__init__.py", "__main__.py"}


def test_a_package_imports_only_what_the_table_allows():
    wrong = {(a, b) for a, b in imports() if a != b and b not in MAY_IMPORT[a]}
    assert not wrong


def test_no_package_is_imported_past_the_table():
    """As `import pathgen.job`, `from pathgen import program`, `from .. import` or by its name as a word would do."""
    past = {
        (path.relative_to(PACKAGE).as_posix(), ast.unparse(node)) for path in PACKAGE.rglob("*.py")
        for node in ast.walk(parsed(path))
        if (isinstance(node, ast.Import) and any(one.name.split(".")[0] == "pathgen" for one in node.names))
        or (isinstance(node, ast.ImportFrom) and (node.level or node.module == "pathgen"))
        or (isinstance(node, ast.Name) and node.id in ("import_module", "__import__"))
    }
    assert past == {("__init__.py", "import_module"), ("app/arguments.py", "from pathgen import __version__")}


def modules():
    """{module: modules of the package that it imports when it is loaded}."""
    names = {".".join(("pathgen", *path.relative_to(PACKAGE).with_suffix("").parts)).removesuffix(".__init__"): path
             for path in PACKAGE.rglob("*.py")}
    graph = {}
    for name, path in names.items():
        graph[name] = set()
        for node in _when_loaded(parsed(path)):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("pathgen"):
                inside = {f"{node.module}.{alias.name}" for alias in node.names} & names.keys()
                graph[name] |= inside or {node.module}
    return graph


def _when_loaded(tree):
    """Every node that runs when the module is loaded: not inside functions, not for type checking alone."""
    for node in ast.iter_child_nodes(tree):
        typing = isinstance(node, ast.If) and getattr(node.test, "id", "") == "TYPE_CHECKING"
        if not typing and not isinstance(node, ast.FunctionDef):
            yield node
            yield from _when_loaded(node)


def test_no_circles():
    graph = modules()
    while graph:
        free = {name for name, others in graph.items() if not others & graph.keys() - {name}}
        assert free, f"these import each other: {sorted(graph)}"
        graph = {name: others for name, others in graph.items() if name not in free}


def test_strangers():
    graph = {}
    for package, other in imports():
        graph.setdefault(package, set()).add(other)
    assert not graph["verify"] & {"strategies", "programs", "job", "report", "app"}
    assert not graph["programs"] & {"verify"}


def test_areas_are_put_together_in_one_guarded_place():
    """`pathgen.base.overlay`: the geometry library's own rules may raise where outlines nearly coincide."""
    rules = {"union", "difference", "intersection", "symmetric_difference", "buffer", "union_all", "unary_union",
             "coverage_union_all", "disjoint_subset_union_all"}
    wrong = [
        f"{path.relative_to(PACKAGE)}:{node.lineno}" for path in PACKAGE.rglob("*.py") if path.name != "overlay.py"
        for node in ast.walk(parsed(path))
        if isinstance(node, ast.Attribute) and node.attr in rules and getattr(node.value, "id", "") != "overlay"
    ]
    assert not wrong


def test_one_way_in_for_files_and_one_way_out_for_words():
    """`pathgen.base.files` reads, `pathgen.app.terminal` shows; `folders` and nothing else writes.

    Whether a file is there is asked of `os.path`: methods of Path raise for names too long.
    """
    ways = {"open": {"files.py"}, "read_text": {"files.py"}, "read_bytes": {"files.py"}, "print": {"terminal.py"},
            "write_text": set(), "write_bytes": {"folders.py"}, "fdopen": {"files.py"},
            "exists": set(), "is_file": set(), "is_dir": set(), "is_symlink": set()}
    found = {
        (path.name, name) for path in PACKAGE.rglob("*.py") for node in ast.walk(parsed(path))
        if isinstance(node, ast.Call) and (name := _method_or_builtin(node.func)) in ways
    }
    assert {(path, name) for path, name in found if path not in ways[name]} == set()
    assert {("files.py", "open"), ("terminal.py", "print"), ("folders.py", "write_bytes")} <= found


def _method_or_builtin(function):
    """The name of a method that is called, or of a built-in; the readers of base/files are called by name."""
    if isinstance(function, ast.Attribute):
        return function.attr
    name = getattr(function, "id", "")
    return name if name in ("open", "print") else ""


KNOW_FRETS = {
    "what the package is for, in a line": {"__init__.py", "app/arguments.py"},
    "commands about the board alone: its fret table, papers for its frets, a block for some of them, a first job": {
        "app/arguments.py", "app/runs.py", "app/bench_commands.py", "app/paper.py", "app/starting.py"},
    "words for the rows that a fingerboard states of itself": {
        "report/board_text.py", "report/budget.py", "report/fretting.py", "report/neck.py", "report/sheet/coupon.py",
        "report/sheet/results.py"},
    "where those rows have their place in the report": {"report/data.py", "report/text.py"},
}
"""Who may say the word beside `parts/fingerboard` and `job`, and why."""


def test_only_the_fingerboard_and_its_job_know_the_word_fret():
    saying = {
        name for path in PACKAGE.rglob("*.py") if re.search(r"\bfret(s|ted|ting)?\b", path.read_text(), re.IGNORECASE)
        and not (name := path.relative_to(PACKAGE).as_posix()).startswith(("parts/fingerboard/", "job/"))
    }
    assert saying == set().union(*KNOW_FRETS.values())


def test_a_resolution_that_is_left_out_is_the_same_everywhere():
    """That of the simulation: a tenth of a millimetre, as README and the command line say."""
    found = [
        (path.name, default.value) for room in ("app", "verify") for path in (PACKAGE / room).glob("*.py")
        for node in ast.walk(parsed(path)) if isinstance(node, ast.FunctionDef)
        for argument, default in zip(node.args.kwonlyargs, node.args.kw_defaults, strict=True)
        if argument.arg == "resolution" and default is not None
    ]
    assert len(found) > 5
    assert {value for _, value in found} == {0.1}, found


MANY_ARGUMENTS = {"strategies/cuts.py slots", "strategies/cuts.py outline"}
"""Public functions that take ten or more: plain numbers of the reader's own, of which most may be left out."""


def test_values_that_travel_together_are_one_value():
    many = {
        f"{path.relative_to(PACKAGE).as_posix()} {node.name}" for path in PACKAGE.rglob("*.py")
        for node in ast.walk(parsed(path)) if isinstance(node, ast.FunctionDef)
        and len([*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]) >= 10
    }
    assert many == MANY_ARGUMENTS


LOADED_WHEN_USED = {
    "__main__.py": "whoever stops it while all is loaded sees no traceback",
    "app/cli.py": "only what goes wrong needs more: the same as app/runs.py",
    "app/runs.py": "each command loads what it needs: `pathgen --help` takes 0.04 s instead of 0.60 s",
    "app/terminal.py": "a bar is shown to few: 0.06 s",
    "artwork/pathdata.py": "only drawings have paths: 0.46 s",
}
"""Modules that import inside functions, and what each gains: seconds of the processor, the least of five."""


def test_imports_stand_at_the_top_unless_start_up_gains():
    inside = set()
    for path in PACKAGE.rglob("*.py"):
        tree = parsed(path)
        for function in (node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)):
            if any(isinstance(node, ast.Import | ast.ImportFrom) for node in ast.walk(function)):
                inside.add(path.relative_to(PACKAGE).as_posix())
    assert inside == set(LOADED_WHEN_USED)


NOT_CODES = {"ball-end", "flat-end", "stock-top"}
"""Words of the job file, in modules that find something."""


def codes():
    """Of all findings: what `code=` says, and words with a hyphen where a code is handed on by a name."""
    for path in PACKAGE.rglob("*.py"):
        made = [node for node in ast.walk(parsed(path)) if isinstance(node, ast.Call)
                and getattr(node.func, "id", "") == "Finding"]
        said = [node for call in made for word in call.keywords if word.arg == "code" for node in ast.walk(word.value)]
        yield from (node.value for node in said if isinstance(node, ast.Constant))
        if made:
            yield from (node.value for node in ast.walk(parsed(path)) if isinstance(node, ast.Constant)
                        and re.fullmatch(r"[a-z]+(-[a-z]+)+", str(node.value)))


def test_every_code_of_a_finding_stands_in_a_test():
    """Where it is raised; whether a case near it, that is good, stands beside it is for whoever writes the test."""
    tests = "".join(path.read_text() for path in Path(__file__).parent.rglob("test_*.py"))
    quoted = {word for text in re.findall(r'"(.*?)"', tests) for word in re.findall(r"[a-z]+(?:-[a-z]+)*", text)}
    every = set(codes())
    assert len(every) > 100
    assert every - quoted - NOT_CODES == set()


def test_no_module_gives_one_name_two_values():
    """A second constant of a name takes the place of the first wherever that is meant, without a word."""
    twice = []
    for path in PACKAGE.rglob("*.py"):
        names = [target.id for node in parsed(path).body if isinstance(node, ast.Assign) for target in node.targets
                 if isinstance(target, ast.Name)]
        twice += [f"{path.relative_to(PACKAGE)}: {name}" for name in set(names) if names.count(name) > 1]
    assert not twice
