"""Every clinical number has a source: the engines hold plain mathematics only, constants come from rows of evidence."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from importlib import import_module
from itertools import pairwise
from typing import Any

import pytest

from forestay.evidence import default_evidence
from tests.project.source import PACKAGE, Module, modules, words

ROOMS = ("optics", "mechanics", "risk", "dosing", "statistics", "plan")
"""Where a bare number may hide a clinical one."""

PLAIN = {0, 1, 2, 4, 0.5, 0.25, 12, 30, 90, 180, 360, 1000}
"""Plain mathematics: nothing, one, halves and quarters, hours of the clock, angles, the step between units."""

WHOLE = {3, 6, 9, 60, 100}
"""Plain as whole numbers: quarters of the clock, minutes, percent. ``6.0`` would be a size."""

SOLVER_NAMES = (
    "TOLERANCE",
    "STEPS",
    "ITERATIONS",
    "LIMIT",
    "DAMPING",
    "NODES",
    "STATIONS",
    "DRAWS",
    "SMALLEST",
    "RESIDUAL",
    "ROUNDING",
    "SHIFT",
    "CHUNK",
    "ARMIJO",
    "GRID",
    "LOW_PERCENT",
    "HIGH_PERCENT",
)
"""A module may name such a setting of its numerical method in capitals, with a word on what it is beside or below."""

HIGHEST_POWER = 6
"""A whole exponent up to this is mathematics (a cube, the fourth power of a radius), not a constant."""

SHAPE_KEYWORDS = {"axis", "ndim", "ndmin", "decimals", "ddof", "k", "maxsplit", "maxsize", "start", "indent"}
SHAPE_CALLS = {"range", "reshape", "round", "moveaxis", "swapaxes", "roll", "zeros", "ones", "empty", "arange", "eye"}
"""Calls and keywords whose numbers count things or name an axis."""


def numbers(module: Module) -> Iterator[ast.Constant]:
    """Numeric literals of a file that are neither plain, nor a place in a shape, nor a documented solver setting."""
    settings = _settings(module)
    stack: list[ast.AST] = [node for node in module.tree.body if node not in settings]
    while stack:
        node = stack.pop()
        if isinstance(node, ast.Constant):
            if not _is_plain(node.value):
                yield node
            continue
        stack.extend(child for child in ast.iter_child_nodes(node) if not _exempt(node, child))


def _is_plain(value: object) -> bool:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return True
    return value in PLAIN or (isinstance(value, int) and value in WHOLE)


def _exempt(parent: ast.AST, child: ast.AST) -> bool:
    if isinstance(parent, ast.Subscript):
        return child is parent.slice and _is_place(child)
    if isinstance(parent, ast.BinOp) and isinstance(parent.op, ast.Pow) and child is parent.right:
        return isinstance(child, ast.Constant) and child.value in range(HIGHEST_POWER + 1)
    if isinstance(parent, ast.keyword):
        return parent.arg in SHAPE_KEYWORDS
    if isinstance(parent, ast.Call):
        name = getattr(parent.func, "attr", getattr(parent.func, "id", ""))
        return name in SHAPE_CALLS and isinstance(child, ast.Constant | ast.Tuple) and _is_place(child)
    return isinstance(parent, ast.FormattedValue) and child is parent.format_spec


def _is_place(node: ast.AST) -> bool:
    return not any(isinstance(n.value, float) for n in ast.walk(node) if isinstance(n, ast.Constant))


def _settings(module: Module) -> set[ast.stmt]:
    """Assignments to documented names of solver settings, at the top of a module."""
    lines = ["", *module.text.splitlines(), ""]
    body = module.tree.body
    found = set()
    for node, after in pairwise([*body, None]):
        target = node.targets[0] if isinstance(node, ast.Assign) else getattr(node, "target", None)
        names = [n.id for n in ast.walk(target) if isinstance(n, ast.Name)] if target else []
        told = _is_text(after) or lines[node.lineno - 1].startswith("#") or "  # " in lines[node.end_lineno or 0]
        if names and told and all(name.isupper() and any(word in name for word in SOLVER_NAMES) for name in names):
            found.add(node)
    return found


def _is_text(node: ast.AST | None) -> bool:
    return isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant) and isinstance(node.value.value, str)


@pytest.mark.parametrize("module", [m for m in modules() if m.room in ROOMS], ids=lambda module: module.where)
def test_an_engine_holds_no_number_of_its_own(module: Module) -> None:
    lines = module.text.splitlines()
    hits = [f"{module.where}:{n.lineno}: {n.value!r} in {lines[n.lineno - 1].strip()}" for n in numbers(module)]
    assert not hits, "a row of evidence, or a documented solver setting:\n" + "\n".join(sorted(hits))


@pytest.mark.parametrize(
    ("code", "found"),
    [
        ("x = 0.43 * y", [0.43]),
        ("x = -0.43", [0.43]),
        ("def f(*, tilt=5.5): ...", [5.5]),
        ("x = y[..., 3] ** 3", []),
        ("x = y ** 0.7", [0.7]),
        ("x = (hour + 6) / 3", []),
        ("x = 6.0 * y", [6.0]),
        ("x = y[:, 4:7]", []),
        ("x = table[4.5]", [4.5]),
        ("x = np.sum(y, axis=3) / 180", []),
        ('NEWTON_STEPS = 50\n"""How often at most."""', []),
        ("NEWTON_STEPS = 50  # at most", []),
        ("NEWTON_STEPS = 50", [50]),
        ("x = np.zeros((3, n))", []),
        ("x = np.zeros((n, 4.5))", [4.5]),
        ('STRETCH = 1.46\n"""Not a setting of a solver."""', [1.46]),
        ('x = f"{y:.3f}"', []),
    ],
)
def test_the_scan_sees_a_clinical_number_and_leaves_mathematics_alone(code: str, found: list[float]) -> None:
    module = Module(PACKAGE / "optics" / "x.py", "forestay.optics.x", "optics", code, ast.parse(code))
    assert [node.value for node in numbers(module)] == found


def kinds() -> list[tuple[str, str]]:
    """Module and class name of every dataclass of constants: those that state the prefix of their rows."""
    return [
        (module.name, node.name)
        for module in modules()
        for node in ast.walk(module.tree)
        if isinstance(node, ast.ClassDef)
        and any(isinstance(s, ast.AnnAssign) and getattr(s.target, "id", "") == "PREFIX" for s in node.body)
    ]


def kind(module: str, name: str) -> Any:
    """The class itself."""
    return getattr(import_module(module), name)


@pytest.mark.parametrize(("module", "name"), kinds())
def test_every_constant_of_an_engine_comes_from_a_row(module: str, name: str) -> None:
    reader = default_evidence().reader()
    filled = reader.constants(kind(module, name))
    assert len(reader.used) == len(vars(filled) if hasattr(filled, "__dict__") else filled.__slots__)


QUOTED_ONLY: dict[str, str] = {}
"""Rows that no engine takes but that the pages quote: key -> why it is kept."""

KEY_PATTERNS: dict[str, str] = {
    r"acuity\.imputed\.(.+)_logmar": "calc/acuity.py: the number that a marked analysis may use for a word below the chart",
    r"anaesthetic\.(plain|with_adrenaline)_(?:mg_per_kg|most_mg)\.(.+)": "calc/dosing.py: the limit of a drug",
    r"band\.(?:usual_mg\.)?(.+)": "calc/preparing.py: the band of a drug",
    r"time\.(?:minutes|hand)\.(.+)": "calc/duration.py: minutes by technique, and by hand",
    r"endothelium\.(?:loss|slope)\.(.+)": "calc/endothelium.py: the loss by technique",
    r"endothelium\.ovd\.(.+)": "calc/endothelium.py: what a kind of OVD adds or spares",
    r"incision\.drift_(.+)": "calc/incision.py: flattening some time after surgery",
    r"load\.\w+_share": "calc/manoeuvres.py: the share that the row of a manoeuvre names",
    r"limit\.(.+)": "eye/quantity.py: what a quantity can be",
    r"series\.(.+)": "risk/series.py: published rates by technique",
    r"series_ratio\.(.+)": "risk/series.py: published ratios of a sign",
    r"series_share\.(.+)": "plan/consent_raised.py: how many eyes of a series have the sign of a ratio",
    r"zonule_signs\.floor\.(.+)": "calc/zonule.py: what a seen sign implies",
    r"zonule_signs\.ratio\.(.+)": "calc/zonule.py: the weight of a sign",
    r"zonule_signs\.share\.(.+)": "calc/zonule.py: support by grade",
}
"""Keys put together while running: pattern -> where. What stands in the places must itself be a word of the code."""


def test_every_row_of_evidence_is_used_or_listed_as_quoted() -> None:
    said = words()
    by_prefix = {
        f"{kind(module, name).PREFIX}.{field}"
        for module, name in kinds()
        for field in kind(module, name).__dataclass_fields__
    }
    put_together = {
        key
        for key in default_evidence()
        for pattern in KEY_PATTERNS
        if (match := re.fullmatch(pattern, key)) and said.issuperset(match.groups())
    }
    assert sorted(set(default_evidence()) - said - by_prefix - put_together - set(QUOTED_ONLY)) == []


def test_no_list_of_exceptions_outlives_its_reason() -> None:
    keys = set(default_evidence())
    assert set(QUOTED_ONLY) <= keys
    assert [pattern for pattern in KEY_PATTERNS if not any(re.fullmatch(pattern, key) for key in keys)] == []
