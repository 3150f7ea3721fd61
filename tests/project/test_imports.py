"""Rooms import only downwards, engines import nothing heavy, and no two files import one another in a circle."""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from functools import cache

import pytest

from tests.project.source import PACKAGE, Module, modules

LEAVES = {"errors", "text", "answer", "frame", "record", "delimited"}
"""Files that anyone may import; they import only one another."""

ENGINES = ("optics", "mechanics", "risk", "dosing", "statistics")
BELOW_CALC = {"evidence", "eye", *ENGINES, "learning"}
BELOW_PLAN = BELOW_CALC | {"calc"}
BELOW_CASE = BELOW_PLAN | {"plan"}
BELOW_SERVICES = BELOW_CASE | {"case", "review", "exchange", "store", "batch", "draw", "report"}

MAY_IMPORT: dict[str, set[str]] = {
    "evidence": set(),
    "eye": {"evidence"},
    **{engine: set() for engine in ENGINES},
    "learning": set(ENGINES),
    "calc": BELOW_CALC,
    "plan": BELOW_PLAN,
    "case": BELOW_CASE,
    "review": BELOW_CASE | {"case"},
    "exchange": BELOW_CASE | {"case", "review"},
    "store": {"case"},
    "batch": BELOW_CASE | {"case", "review"},
    "draw": {"plan", "case", "review", "learning"},
    "report": {"draw", "plan", "case", "review", "learning"},
    "services": BELOW_SERVICES | {"demo"},
    # The faces call everything but the store: services are its only callers.
    "web": (BELOW_SERVICES - {"store"}) | {"services", "demo"},
    "cli": (BELOW_SERVICES - {"store"}) | {"services", "demo", "web"},
    "demo": set(),
    "__main__": {"cli"},
}
"""Room -> rooms that it may import, beside itself and the leaves."""

THIRD_PARTY: dict[str, set[str]] = {
    **{engine: {"numpy"} for engine in ENGINES},
    "statistics": {"numpy", "scipy", "statsmodels"},
    "learning": {"numpy", "scipy"},
    "record": {"pydantic"},
    "eye": {"pydantic"},
    "calc": {"numpy", "pydantic"},
    "plan": {"numpy", "pydantic"},
    "case": {"pydantic"},
    "exchange": {"pydantic", "pydicom", "pynetdicom", "fhir", "biip", "openpyxl", "pyarrow"},
    "review": {"numpy", "pydantic"},
    "store": {"sqlalchemy", "alembic", "cryptography", "psycopg", "sqlcipher3"},
    "batch": {"numpy", "duckdb", "pyarrow", "distributed", "pydantic"},
    "report": {"typst"},
    "services": {"pydantic", "pwdlib", "cryptography"},
    "web": {
        "fastapi",
        "starlette",
        "uvicorn",
        "jinja2",
        "markupsafe",
        "pydantic",
        "authlib",
        "httpx",
        "joserfc",
        "segno",
        "cryptography",
    },
    "cli": {"typer", "click", "rich", "pydantic"},
}
"""Room -> libraries that it may import; every other room gets by with the standard library."""


def _targets(module: Module) -> Iterator[str]:
    """Dotted names that a file imports, wherever in the file, without those for type checkers alone."""
    for node in _walk(module.tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                parts = module.name.split(".")
                up = node.level - (module.path.name == "__init__.py")
                base = ".".join([*parts[: len(parts) - up], *([base] if base else [])])
            yield from (f"{base}.{alias.name}" for alias in node.names)
        elif isinstance(node, ast.Call) and getattr(node.func, "id", getattr(node.func, "attr", "")) == "import_module":
            told = node.args[0]
            if isinstance(told, ast.Constant):
                yield str(told.value)
            elif isinstance(told, ast.JoinedStr) and isinstance(told.values[0], ast.Constant):
                yield str(told.values[0].value)


def _walk(node: ast.AST) -> Iterator[ast.AST]:
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.If) and "TYPE_CHECKING" in ast.dump(child.test):
            continue
        yield child
        yield from _walk(child)


def _room(target: str) -> str:
    parts = target.split(".")
    return parts[1] if len(parts) > 1 else ""


@cache
def _known() -> dict[str, Module]:
    return {module.name: module for module in modules()}


def _module_of(target: str) -> str | None:
    """The file that a dotted name lives in: ``forestay.frame.HOURS`` lives in ``forestay.frame``."""
    parts = target.rstrip(".").split(".")
    while parts:
        name = ".".join(parts)
        if name in _known():
            return name
        parts.pop()
    return None


def test_every_room_stands_in_the_table() -> None:
    rooms = {path.name for path in PACKAGE.iterdir() if path.is_dir() and list(path.glob("*.py"))}
    assert rooms <= set(MAY_IMPORT), "a new room needs its row: what may it import?"
    files = {path.stem for path in PACKAGE.glob("*.py")} - {"__init__", "__main__"}
    assert files == LEAVES, "beside the rooms only the leaf modules stand in the package's folder"


@pytest.mark.parametrize("module", modules(), ids=lambda module: module.where)
def test_a_file_imports_only_what_its_room_may(module: Module) -> None:
    wrong, heavy = [], []
    allowed = LEAVES if module.room in LEAVES else MAY_IMPORT.get(module.room, set()) | LEAVES | {module.room}
    for target in _targets(module):
        top = target.split(".")[0]
        if top == "forestay":
            room = _room(target)
            if room not in allowed and room != "__version__":
                wrong.append(target)
        elif top not in sys.stdlib_module_names and top not in THIRD_PARTY.get(module.room, set()):
            heavy.append(target)
    assert not wrong, f"{module.where} imports upwards or sideways: {wrong}"
    assert not heavy, f"{module.where} imports a library that its room does without: {heavy}"


def test_the_demo_cases_are_data_beside_one_file_that_reads_them() -> None:
    assert [m.where for m in modules() if m.room == "demo" and m.path.stem != "__init__"] == []


def test_no_files_import_one_another_in_a_circle() -> None:
    graph = {
        module.name: {found for target in _targets(module) if (found := _module_of(target)) and found != module.name}
        for module in modules()
    }
    done: set[str] = set()
    circles: list[str] = []

    def visit(name: str, path: tuple[str, ...]) -> None:
        if name in path:
            circles.append(" -> ".join([*path[path.index(name) :], name]))
            return
        if name not in done:
            for target in sorted(graph[name]):
                visit(target, (*path, name))
            done.add(name)

    for name in sorted(graph):
        visit(name, ())
    assert not circles, "\n".join(circles)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("from forestay.web import app", "forestay.web.app"),
        ("def f():\n    import forestay.store.sql", "forestay.store.sql"),
        ("from ..web import app", "forestay.web.app"),
        ("from importlib import import_module\nimport_module('forestay.store')", "forestay.store"),
    ],
)
def test_the_reader_of_imports_sees_every_way_of_importing(text: str, found: str) -> None:
    module = Module(PACKAGE / "optics" / "x.py", "forestay.optics.x", "optics", text, ast.parse(text))
    assert found in set(_targets(module))
