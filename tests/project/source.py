"""What the tests of the project itself read: the Python files of the package, as text and as trees."""

from __future__ import annotations

import ast
import os
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[2]
PACKAGE = ROOT / "src" / "forestay"
NOT_OURS = {
    ".git",
    ".venv",
    "__pycache__",
    "node_modules",
    "built",
    "_build",
    "generated",
    "dist",
    "build",
    ".mypy_cache",
    ".ruff_cache",
    ".pytest_cache",
    ".hypothesis",
    "test-results",
}
"""Folders that are made on the spot and never kept in the tree (.gitignore says the same)."""


@dataclass(frozen=True)
class Module:
    """One Python file of the package. ``name`` is dotted; ``room`` its first part below forestay or its stem."""

    path: Path
    name: str
    room: str
    text: str
    tree: ast.Module

    @property
    def where(self) -> str:
        """Path from the project's folder, for messages."""
        return self.path.relative_to(ROOT).as_posix()


@cache
def modules() -> tuple[Module, ...]:
    """Every Python file under src/forestay."""
    return tuple(_read(path) for path in sorted(PACKAGE.rglob("*.py")))


def _read(path: Path) -> Module:
    parts = ("forestay", *path.relative_to(PACKAGE).with_suffix("").parts)
    room = parts[1]
    if parts[-1] == "__init__":
        parts = parts[:-1]
    text = path.read_text(encoding="utf-8")
    return Module(path, ".".join(parts), room, text, ast.parse(text, filename=str(path)))


def files() -> Iterator[Path]:
    """Every file of the project, without what is made on the spot."""
    for folder, below, names in os.walk(ROOT):
        below[:] = sorted(name for name in below if name not in NOT_OURS and not name.endswith(".egg-info"))
        yield from (Path(folder, name) for name in sorted(names))


def text_files() -> Iterator[tuple[str, str]]:
    """Path from the project's folder, and the text, of every file that is text."""
    for path in files():
        try:
            yield path.relative_to(ROOT).as_posix(), path.read_text(encoding="utf-8")
        except UnicodeDecodeError:
            continue


@cache
def words() -> frozenset[str]:
    """Every string that stands in the package's code, and every word of its rule files; evidence itself aside."""
    found: set[str] = set()
    for module in modules():
        found.update(n.value for n in ast.walk(module.tree) if isinstance(n, ast.Constant) and isinstance(n.value, str))
    for path in PACKAGE.rglob("*.toml"):
        if path.parent.name != "data" or path.parent.parent.name != "evidence":
            found.update(re.findall(r"[a-z][\w.-]*\w", path.read_text(encoding="utf-8")))
    return frozenset(found)
