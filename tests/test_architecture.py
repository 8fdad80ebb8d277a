"""Who may import whom, what loads when, and that modules and functions stay of a readable size."""

from __future__ import annotations

import ast
import importlib
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from conftest import ROOT

SIM, CLI = ROOT / "sim", ROOT / "cli"
MODULES = sorted(SIM.rglob("*.py"))
COMMANDS = sorted(CLI.glob("*.py"))
KERNELS = sorted((SIM / "kernels").glob("*.py"))
HEAVY = {"numpy", "numba", "scipy", "shapely", "trimesh", "pyvista", "vtk", "vtkmodules",
         "matplotlib", "pydantic", "rich", "ezdxf"}  # fmt: skip
AT_USE = {"pyvista", "vtk", "vtkmodules", "trimesh", "matplotlib", "scipy", "shapely", "ezdxf"}
"""Loaded inside the function that uses them."""
IN_KERNELS = {"__future__", "math", "numpy", "numba"}
MODULE_LINES, FUNCTION_LINES = 500, 50
"""Longest module and longest function without its docstring."""


def shown(path: Path) -> str:
    return str(path.relative_to(ROOT))


def imports(path: Path) -> Iterator[tuple[ast.stmt, int, str, bool]]:
    """Yield each import: statement, level of dots, module, and whether it runs at loading."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    yield from _imports_in(tree, at_loading=True)


def _imports_in(node: ast.AST, *, at_loading: bool) -> Iterator[tuple[ast.stmt, int, str, bool]]:
    for child in ast.iter_child_nodes(node):
        inside = isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda)
        checked = isinstance(child, ast.If) and "TYPE_CHECKING" in ast.unparse(child.test)
        if isinstance(child, ast.Import):
            for name in child.names:
                yield child, 0, name.name, at_loading
        elif isinstance(child, ast.ImportFrom):
            if child.module is None:
                for name in child.names:
                    yield child, child.level, name.name, at_loading
            else:
                yield child, child.level, child.module, at_loading
        yield from _imports_in(child, at_loading=at_loading and not inside and not checked)


def offenders(paths, wrong) -> list[str]:
    return [
        f"{shown(path)}:{statement.lineno}: {'.' * level}{module}"
        for path in paths
        for statement, level, module, at_loading in imports(path)
        if wrong(path, level, module, at_loading)
    ]


def test_the_search_finds_imports():
    """The checks below would pass on nothing at all if the search found nothing."""
    found = [(level, module) for _, level, module, _ in imports(SIM / "job.py")]
    assert {(1, "errors"), (0, "numpy"), (1, "cut"), (1, "stock")} <= set(found)
    assert len(MODULES) > 30
    assert len(KERNELS) > 8
    assert not list(imports(SIM / "job.py"))[-1][3]


def test_inside_the_library_imports_are_relative_and_never_of_the_command_line():
    def wrong(path, level, module, at_loading):
        if shown(path) == "sim/__main__.py":  # it is the command, for `python -m proud`
            return False
        return module.split(".")[0] in ("proud", "sim", "cli") or (level and "cli" in module)

    assert offenders(MODULES, wrong) == []


def test_the_command_line_names_the_library():
    own = {path.stem for path in COMMANDS}

    def wrong(path, level, module, at_loading):
        if level:
            return level > 1 or module.split(".")[0] not in own
        return module.split(".")[0] in ("sim", "cli") or module in ("numpy", "numba")

    assert offenders(COMMANDS, wrong) == []


def test_kernels_import_numbers_and_each_other_alone():
    own = {path.stem for path in KERNELS}

    def wrong(path, level, module, at_loading):
        allowed = own if level else IN_KERNELS
        if path.name == "__init__.py":  # looks after the compiled files; holds no kernel
            allowed = allowed | {"contextlib", "pathlib"}
        return level > 1 or module.split(".")[0] not in allowed

    assert offenders(KERNELS, wrong) == []


def test_heavy_libraries_are_loaded_where_they_are_used():
    def wrong(path, level, module, at_loading):
        return not level and at_loading and module.split(".")[0] in AT_USE

    assert offenders([*MODULES, *COMMANDS], wrong) == []


def test_no_evaluation_of_text():
    found = [
        f"{shown(path)}:{node.lineno}"
        for path in (*MODULES, *COMMANDS)
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Name)
        and node.func.id in ("eval", "exec", "__import__")
    ]
    assert found == []


def name_of(path: Path) -> str:
    package, base = ("proud.cli", CLI) if path.is_relative_to(CLI) else ("proud", SIM)
    parts = [part for part in path.relative_to(base).with_suffix("").parts if part != "__init__"]
    return ".".join([package, *parts])


def top_names(path: Path) -> dict[str, str | None]:
    """Functions and classes that a module defines itself, with what they say of themselves."""
    return {
        node.name: ast.get_docstring(node)
        for node in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(node, ast.FunctionDef | ast.ClassDef)
    }


@pytest.mark.parametrize("path", [*MODULES, *COMMANDS], ids=shown)
def test_public_names(path):
    """`__all__` names what is there, nothing private; functions and classes in it say what they
    are. A kernel's public names are all those without an underscore."""
    if shown(path) == "sim/__main__.py":  # runs the command when imported
        return
    module = importlib.import_module(name_of(path))
    own = top_names(path)
    if path in KERNELS:
        public = sorted(name for name in own if not name.startswith("_"))
    elif path.name == "__init__.py" and not own:
        return
    else:
        public = module.__all__
    assert len(set(public)) == len(public)
    for name in public:
        assert not name.startswith("_")
        assert hasattr(module, name)
        assert own.get(name, "said elsewhere"), f"{name} says nothing of itself"


def sizes(path: Path) -> Iterator[tuple[str, int]]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.FunctionDef):
            lines = (node.end_lineno or 0) - node.lineno + 1
            first = node.body[0]
            said = isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant)
            if said:
                lines -= (first.end_lineno or 0) - first.lineno + 1
            yield f"{shown(path)}:{node.lineno} {node.name}", lines


def test_modules_and_functions_can_be_read():
    long = [
        f"{shown(path)}: {count} lines"
        for path in (*MODULES, *COMMANDS)
        if (count := len(path.read_text(encoding="utf-8").splitlines())) > MODULE_LINES
    ]
    long += [
        f"{where}: {lines} lines"
        for path in (*MODULES, *COMMANDS)
        for where, lines in sizes(path)
        if lines > FUNCTION_LINES
    ]
    assert long == []


# ------------------------------------------------------------------------- what is loaded, and when

_LOADED = """
import sys
{code}
names = {names!r}
print(*sorted(names & set(sys.modules)), sep=",", end="")
"""


def loaded_after(code: str) -> set[str]:
    """Return which heavy libraries a fresh interpreter holds after some code."""
    words = _LOADED.format(code=code, names=HEAVY)
    done = subprocess.run(
        [sys.executable, "-c", words], capture_output=True, text=True, timeout=120, check=True
    )
    return set(done.stdout.rpartition("\n")[2].split(",")) - {""}


NAMES = ("start", "read", "passes", "run", "trace", "picture", "tool", "probe", "wall", "clearance",
         "loupe", "explain", "schema")  # fmt: skip


def command(*words: str) -> str:
    return (
        f"sys.argv = ['proud', *{words!r}]\n"
        "from proud.cli.__main__ import main\n"
        "try:\n    main()\n"
        "except SystemExit as stop:\n    assert stop.code == 0\n"
    )


@pytest.mark.parametrize(
    "code",
    [
        "import proud",
        "import proud; dir(proud); proud.BadInput",
        "import proud.errors, proud.units",
        command("--help"),
        command("--version"),
        *(command(name, "--help") for name in NAMES),
    ],
    ids=lambda code: code.replace("\n", " ")[:50],
)
def test_help_loads_nothing_heavy(code):
    assert loaded_after(code) == set()


def test_what_the_schema_and_a_checked_job_load():
    assert loaded_after(command("schema")) <= {"pydantic", "numpy"}
    load = "import proud; proud.load('demo_parts/first_try/job.toml')"
    assert loaded_after(f"import os; os.chdir({str(ROOT)!r}); {load}") <= {"pydantic", "numpy"}


def test_a_run_without_pictures_draws_nothing(plate):
    found = loaded_after(command("run", str(plate.path), "--json", "--quiet"))
    assert found & {"pyvista", "vtk", "vtkmodules", "matplotlib", "trimesh", "shapely"} == set()
    assert {"numba", "pydantic"} <= found


# --------------------------------------------------------------------------------- what is written

FORBIDDEN = tuple(
    re.compile(pattern, re.IGNORECASE)
    for pattern in (
        r"/wor" r"k\b",
        r"/op" r"t/",
        r"/ro" r"ot\b",
        r"\.libr" r"ary\b",
        r"\bshar" r"ed/",
        r"\bses" r"sions?\b",
        r"\bhel" r"pers?\b",
        r"\bstage[ -]?\d",
        r"\bissue[ -]?#?\d",
        r"\bthe br" r"ief\b",
        r"\b(?:TO" r"DO|FIX" r"ME|XX" r"X)\b",
    )
)
WRITTEN = (".py", ".md", ".toml", ".nc", ".sh", ".html", "")


def written() -> list[Path]:
    """Text files of the project: what a person reads, built and hidden folders left out."""
    folders = ("sim", "cli", "tests", "benchmarks", "demo_parts", ".ci")
    found = [p for p in ROOT.iterdir() if p.is_file() and p.suffix in WRITTEN]
    for folder in folders:
        found += [p for p in (ROOT / folder).rglob("*") if p.is_file() and p.suffix in WRITTEN]
    return [
        p for p in found if "__pycache__" not in p.parts and p.name not in (".git", ".coverage")
    ]


def test_nothing_of_the_workshop_is_mentioned():
    found = [
        f"{shown(path)}:{number}: {match[0]}"
        for path in written()
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
        for pattern in FORBIDDEN
        for match in pattern.finditer(line)
    ]
    assert len(written()) > 60
    assert found == []
