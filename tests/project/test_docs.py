"""The documentation is complete and true: everything is documented, every example runs, every named file is there."""

from __future__ import annotations

import ast
import contextlib
import io
import re
import shlex
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from functools import cache
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path
from typing import Any

import pytest

from forestay.calc.table import CALCULATIONS
from forestay.evidence import default_evidence
from forestay.eye.lens_shelf import read_lens_shelf
from forestay.eye.records import CaseFile
from forestay.eye.validation import validate
from tests.project.source import ROOT

DOCS = ROOT / "docs"
PAGES = [ROOT / "README.md", ROOT / "CONTRIBUTING.md", *sorted(DOCS.glob("*.md"))]
RUN = "from forestay.cli.main import run; run()"


def load(name: str) -> Any:
    """The script that writes the generated pages."""
    spec = spec_from_file_location(name, DOCS / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


generate = load("generate")


@cache
def calculation_pages() -> dict[str, str]:
    """The pages of calculations, each example run once for all tests."""
    pages: dict[str, str] = generate.calculation_pages()
    return pages


def fences(kind: str) -> Iterator[tuple[str, str]]:
    """Page and text of every block of code of one kind."""
    for page in PAGES:
        for body in re.findall(
            rf"^ *```{kind}\n(.*?)^ *```$", page.read_text(encoding="utf-8"), re.MULTILINE | re.DOTALL
        ):
            yield page.name, body


# ------------------------------------------------------------------------------------ everything is documented


@pytest.mark.parametrize("name", CALCULATIONS)
def test_a_calculation_says_what_it_is_for_and_what_every_key_means(name: str) -> None:
    row = CALCULATIONS[name]
    assert all(len(text.split()) > 1 for text in (row.summary, row.formula, row.valid))
    given = generate.fields(row.input.model_json_schema())
    told = generate.fields(row.output.model_json_schema(mode="serialization"))
    assert given
    assert told
    assert [line[0] for line in (*given, *told) if not line[1]] == [], "a key without a description"


@pytest.mark.parametrize("name", CALCULATIONS)
def test_a_calculation_has_a_page_with_its_keys_and_its_answer(name: str) -> None:
    pages = calculation_pages()
    page = pages[f"calculations/{name}.md"]
    assert f"\n{name}\n" in pages["calculations/index.md"]
    assert f"forestay calc {name}" in page
    for key in (*CALCULATIONS[name].input.model_fields, *CALCULATIONS[name].output.model_fields):
        assert f"`{key}`" in page


def test_every_evidence_file_has_a_page_and_every_row_a_line() -> None:
    pages = generate.evidence_pages()
    for name, (told, rows) in generate.evidence_files().items():
        assert told, f"{name} opens without a sentence on what it holds"
        assert f"\n{name}\n" in pages["evidence/index.md"]
        lines = pages[f"evidence/{name}.md"].splitlines()
        for row in rows:
            line = next(line for line in lines if line.startswith(f"| {generate.cell(row.key)}<br>"))
            assert generate.cell(row.source.key) in line
            assert generate.cell(row.standing) in line
            assert row.doubt is None or generate.cell(row.doubt) in line
    assert {row.key for _, rows in generate.evidence_files().values() for row in rows} == set(default_evidence())


def test_the_glossary_holds_every_quantity() -> None:
    page = generate.glossary()
    missing = [key for key in default_evidence() if key.startswith("limit.") and f"`{key[6:]}`" not in page]
    assert missing == []


def test_the_page_of_the_case_file_holds_every_section_and_key() -> None:
    page = generate.case_file()
    for name, section in CaseFile.model_fields.items():
        part = page.split(f"## {name}\n")[1].split("\n## ")[0]
        assert [key for key in section.annotation.model_fields if f"| `{key}` |" not in part] == []


def test_every_command_and_option_says_what_it_does() -> None:
    silent = []
    for words, command in generate.command_tree().items():
        if not command.help:
            silent.append(words)
        silent += [f"{words} {p.name}" for p in command.params if p.name != "help" and not getattr(p, "help", None)]
    assert silent == []


def test_the_page_of_commands_is_what_help_says() -> None:
    page = generate.commands()
    for words, command in generate.command_tree().items():
        assert f"## {words}\n" in page
        for parameter in command.params:
            for option in (o for o in parameter.opts if o.startswith("--")):
                assert option in page


def test_every_public_function_of_an_engine_has_words() -> None:
    silent = [
        f"{module.__name__}.{name}"
        for modules in generate.engine_modules().values()
        for module in modules
        for name, function in generate.public(module).items()
        if not function.__doc__
    ]
    assert silent == []


def test_generated_pages_are_written_once_and_old_ones_removed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    calculation_pages()  # before the name means itself
    monkeypatch.setattr(generate, "calculation_pages", calculation_pages)
    generate.everything(tmp_path)
    before = {path: path.stat().st_mtime_ns for path in tmp_path.rglob("*.*")}
    assert len(before) > 20
    (tmp_path / "old.md").write_text("left over")
    generate.everything(tmp_path)
    assert {path: path.stat().st_mtime_ns for path in tmp_path.rglob("*.*")} == before


@pytest.mark.parametrize("text", ["a|b", "*a* _b_", "<b>", "a\nb", "[x](y)", "{role}`x`", "1 ~ 2", "$x$"])
def test_nothing_in_a_cell_is_taken_for_markup(text: str) -> None:
    from markdown_it import MarkdownIt

    tokens = MarkdownIt("commonmark").enable("table").parse(generate.table(("a",), [(generate.cell(text),)]))
    cells = [token.children for token in tokens if token.type == "inline"]
    assert [[child.type for child in children or []] for children in cells] == [["text"]] * 2
    assert cells[1] is not None
    assert cells[1][0].content == text.replace("\n", " ")


# ------------------------------------------------------------------------------------------- every example is true


def console() -> list[tuple[str, tuple[str, ...]]]:
    """The command lines of each block of the pages: a later line of a block may use what an earlier one made."""
    blocks = (
        (page, tuple(line[2:] for line in body.splitlines() if line.startswith("$ ")))
        for page, body in fences("console")
    )
    return [(page, lines) for page, lines in blocks if lines]


def test_the_pages_show_commands() -> None:
    assert sum(len(lines) for _, lines in console()) >= 8


@pytest.mark.parametrize(("where", "lines"), console(), ids=lambda value: value if isinstance(value, str) else value[0])
def test_the_commands_of_a_block_run_one_after_another(where: str, lines: tuple[str, ...], tmp_path: Path) -> None:
    for line in lines:
        runs_as_shown(where, line, tmp_path)


def runs_as_shown(where: str, line: str, folder: Path) -> None:
    """Run one command line of a page in a folder, with what its pipe gives it."""
    given, _, command = line.rpartition(" | ")
    words = shlex.split(command or line)
    assert words[0].endswith("forestay"), f"{where}: only our own command is tested here"
    arguments = [str(ROOT / word) if word.startswith("src/") else word for word in words[1:]]
    done = subprocess.run(
        [sys.executable, "-c", RUN, *arguments],
        input=shlex.split(given)[1] if given else "",
        capture_output=True,
        text=True,
        check=False,
        cwd=folder,
        timeout=60,
    )
    assert done.returncode in (0, 1), f"{line}: {done.stderr}"
    assert "--pdf" in line or done.stdout, line
    assert "Traceback" not in done.stderr, line


@pytest.mark.parametrize(("where", "code"), list(fences("python")))
def test_python_of_a_page_runs(where: str, code: str) -> None:
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        exec(compile(code, where, "exec"), {})  # noqa: S102 - our own page
    assert "print" not in code or out.getvalue()


@pytest.mark.parametrize(("where", "text"), list(fences("toml")))
def test_toml_of_a_page_is_a_case_file_or_a_row(where: str, text: str) -> None:
    data = tomllib.loads(text)
    assert data, where
    if "person" in data:
        assert validate(CaseFile, data).eye.side in ("left", "right")
    elif "lens" in data:
        assert read_lens_shelf(text.encode(), where).lens
    else:
        assert {"key", "value", "unit", "meaning", "source", "standing"} <= set(data["row"][0])


# ---------------------------------------------------------------------------------------- every named file is there


@pytest.mark.parametrize("where", PAGES, ids=lambda path: path.name)
def test_links_of_a_page_lead_somewhere(where: Path) -> None:
    for target in re.findall(r"\]\(([^)#\s]+)[^)]*\)", where.read_text(encoding="utf-8")):
        if "://" in target:
            continue
        path = (where.parent / target).resolve()
        if path.is_relative_to(DOCS / "generated"):
            assert path.relative_to(DOCS / "generated").as_posix() in generated(), target
        else:
            assert path.exists(), f"{where.name}: {target}"


@pytest.mark.parametrize("where", PAGES, ids=lambda path: path.name)
def test_paths_that_a_page_names_are_there(where: Path) -> None:
    text = where.read_text(encoding="utf-8")
    named = re.findall(r"(?<![\w./])((?:src|tests|docs|packaging|frontend|benchmarks)/[\w./-]*\w/?)", text)
    assert [name for name in named if not (ROOT / name).exists() and not name.startswith("docs/generated")] == []


def test_every_page_hangs_in_the_contents() -> None:
    text = (DOCS / "index.md").read_text(encoding="utf-8")
    assert [page.stem for page in DOCS.glob("*.md") if page.stem != "index" and f"\n{page.stem}\n" not in text] == []


def generated() -> set[str]:
    """Names of the pages that the build writes, without running every calculation."""
    pages = {
        "glossary.md",
        "case-file.md",
        "commands.md",
        "calculations/index.md",
        "evidence/index.md",
        "engines/index.md",
    }
    return pages | {"orientation.svg"} | {f"evidence/{name}.md" for name in generate.evidence_files()}


# --------------------------------------------------------------------------------------------------------- hazards


def hazards() -> list[list[str]]:
    """Rows of the tables of hazards: what can happen, control, tests."""
    text = (DOCS / "hazards.md").read_text(encoding="utf-8")
    rows = [re.split(r"(?<!\\)\|", line.strip().strip("|")) for line in text.splitlines() if line.startswith("|")]
    return [
        row for row in rows if len(row) == 3 and not set("".join(row)) <= set("-: ") and row[2].strip() != "Held by"
    ]


def test_the_hazards_are_listed() -> None:
    assert len(hazards()) >= 12
    told = " ".join(row[0].lower() for row in hazards())
    for word in ("wrong eye", "unit", "swapped", "stale", "wrong lens", "default", "range", "drawing", "lost"):
        assert word in told, word


@pytest.mark.parametrize("row", hazards(), ids=lambda row: row[0].strip()[:40])
def test_each_hazard_has_a_control_and_tests_that_exist(row: list[str]) -> None:
    assert len(row[1].split()) > 5
    named = re.findall(r"`(tests/[^`]+)`", row[2])
    assert named, "a hazard without a test that holds its control"
    for name in named:
        path, _, function = name.partition("::")
        assert (ROOT / path).is_file(), name
        if function:
            tree = ast.parse((ROOT / path).read_text(encoding="utf-8"))
            assert function in {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}, name
