"""The order of the house: small files, nothing unfinished, no test switched off, no trace of a particular machine."""

from __future__ import annotations

import ast
import json
import re
import tomllib

import pytest

import forestay
from tests.project.source import ROOT, Module, files, modules, text_files

LONGEST = 400
"""Lines in one source file."""

UNFINISHED = ["TO" + "DO", "FIX" + "ME", "X" + "XX"]
HOSTS = [
    "py" + "pi.org",
    "python" + "hosted.org",
    "npm" + "js.org",
    "npm" + "js.com",
    "yarn" + "pkg.com",
    "--index" + "-url",
    "index" + "-url =",
]
WORKPLACE = [
    "/wo" + "rk/",
    "tmp/" + "team",
    "issues " + "show",
    "closing " + "note",
    "sub" + "agent",
    "Clau" + "de",
    "Chat" + "GPT",
    "language " + "model",
    "AI-" + "generated",
    "style-" + "anchors",
    "contract" + ".md",
    "stack" + ".md",
]
"""Words that belong to a workplace or a registry; put together here so that this file does not hold them itself."""

SWITCHES = {"skip", "skipif", "xfail", "importorskip"}


@pytest.mark.parametrize("module", modules(), ids=lambda module: module.where)
def test_a_source_file_is_short(module: Module) -> None:
    assert len(module.text.splitlines()) <= LONGEST, "one concept a file: split it"


@pytest.mark.parametrize("word", [*UNFINISHED, *HOSTS, *WORKPLACE])
def test_no_file_holds_the_word(word: str) -> None:
    pattern = re.compile(rf"(?<!\w){re.escape(word)}" + (r"(?!\w)" if word[-1].isalpha() else ""))
    found = [
        f"{path}:{text[: m.start()].count(chr(10)) + 1}" for path, text in text_files() for m in pattern.finditer(text)
    ]
    assert not found


def test_no_file_name_holds_such_a_word() -> None:
    names = [path.relative_to(ROOT).as_posix() for path in files()]
    assert not [name for name in names if any(word in f"/{name}/" for word in [*UNFINISHED, *WORKPLACE])]


def test_no_test_is_switched_off() -> None:
    off = []
    for path in (ROOT / "tests").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            name = node.attr if isinstance(node, ast.Attribute) else node.id if isinstance(node, ast.Name) else ""
            if name in SWITCHES:
                off.append(f"{path.relative_to(ROOT)}:{node.lineno}")
    assert not off


@pytest.mark.parametrize("lock", ["requirements.lock", "requirements-dev.lock"])
def test_a_lock_pins_every_package_by_hash_and_names_no_address(lock: str) -> None:
    text = (ROOT / lock).read_text(encoding="utf-8")
    entries = re.split(r"\n(?=[a-z0-9])", text.strip(), flags=re.IGNORECASE)
    assert len(entries) > 20
    unpinned = [entry.splitlines()[0] for entry in entries if not re.match(r"[\w.\[\]-]+==\S+", entry)]
    without_hash = [entry.splitlines()[0] for entry in entries if "--hash=sha256:" not in entry]
    assert not unpinned
    assert not without_hash
    assert "://" not in text


def pins(lock: str) -> dict[str, set[str]]:
    """Package -> versions that a lock names."""
    found: dict[str, set[str]] = {}
    for name, version in re.findall(r"^([\w.\[\]-]+)==([^\s;\\]+)", (ROOT / lock).read_text(), re.MULTILINE):
        found.setdefault(name, set()).add(version)
    return found


def test_both_locks_agree() -> None:
    every = pins("requirements-dev.lock")
    assert {name: versions for name, versions in pins("requirements.lock").items() if every.get(name) != versions} == {}


INSTALLED = ("postgres", "oidc", "encrypted", "exchange", "scale", "fast")
"""Extras that `make start` installs too, so that every command of the README works."""


def declared(entries: list[str]) -> set[str]:
    """Packages that requirements name, as a lock spells them, without the project itself."""
    names = {re.match(r"[\w.-]+", entry).group() for entry in entries}  # type: ignore[union-attr]
    return {re.sub(r"[._-]+", "-", name).lower() for name in names} - {"forestay"}


def test_the_locks_hold_every_declared_dependency() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"]
    runtime = declared(project["dependencies"]) | set().union(*(declared(extras[name]) for name in INSTALLED))
    every = runtime | set().union(*(declared(entries) for entries in extras.values()))
    assert runtime <= set(pins("requirements.lock"))
    assert every <= set(pins("requirements-dev.lock"))


def test_the_build_requirements_are_pinned() -> None:
    build = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["build-system"]
    assert [entry for entry in build["requires"] if "==" not in entry] == []


def test_the_lock_of_the_browser_code_names_no_address() -> None:
    lock = json.loads((ROOT / "frontend" / "package-lock.json").read_text(encoding="utf-8"))
    packages = {name: entry for name, entry in lock["packages"].items() if name}
    assert packages
    assert [name for name, entry in packages.items() if "resolved" in entry] == []
    assert [name for name, entry in packages.items() if "integrity" not in entry and not entry.get("inBundle")] == []


def test_one_version_everywhere() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert forestay.__version__ == project["version"]
    assert f"## {forestay.__version__}" in (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")


def test_the_licence_is_the_one_declared() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    text = (ROOT / "LICENSE").read_text(encoding="utf-8")
    assert project["license"] == "Apache-2.0"
    assert "Apache License\n                           Version 2.0, January 2004" in text
    assert text.rstrip().endswith("limitations under the License.")
