"""Writes the pages that follow from the package: evidence, glossary, calculations, commands, engines and pictures.

Run by ``conf.py`` at each build. Nothing here is kept in the tree, so no page can say other than the code does.
"""

from __future__ import annotations

import inspect
import json
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from importlib import import_module
from importlib.resources import files
from pathlib import Path
from typing import Any, cast

from pydantic import BaseModel

from forestay.calc.core import Calculation
from forestay.evidence import Row, Source, default_evidence
from forestay.evidence.loader import parse
from forestay.eye.records import CaseFile

LIMIT = "limit."
ENGINES = ("optics", "mechanics", "risk", "dosing")
HELP_WIDTH = 96
UNITS = {
    "_mm": "mm", "_mm2": "mm2", "_d": "D", "_deg": "degrees", "_um": "micrometres", "_mn": "mN", "_mn_per_mm": "mN/mm",
    "_mmhg": "mmHg", "_per_mm2": "cells/mm2", "_ml": "ml", "_mg": "mg", "_mg_per_ml": "mg/ml", "_years": "years",
    "_clock": "clock hours", "_m_s": "m/s", "_percent": "%", "_kg": "kg",
}  # fmt: skip
"""Unit that the end of a name stands for; the longest end counts."""


def everything(folder: Path) -> None:
    """All generated pages, written only where their text changed, so that a second build is quick."""
    pages = {
        **evidence_pages(),
        "glossary.md": glossary(),
        "case-file.md": case_file(),
        **calculation_pages(),
        "commands.md": commands(),
        **engine_pages(),
        **pictures(),
    }
    for name, text in pages.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        if not path.is_file() or path.read_text(encoding="utf-8") != text:
            path.write_text(text, encoding="utf-8")
    for path in [p for p in folder.rglob("*") if p.is_file()]:
        if path.relative_to(folder).as_posix() not in pages:
            path.unlink()


# ---------------------------------------------------------------------------------------------- words and tables


def cell(value: object) -> str:
    """A value as text inside a table: nothing in it is taken for markup."""
    text = "" if value is None else " ".join(str(value).split())
    return re.sub(r"([\\`*_\[\]<>|~{}$#])", r"\\\1", text)


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A table; every row has as many cells as the head."""
    lines = [f"| {' | '.join(head)} |", f"|{'---|' * len(head)}"]
    lines += [f"| {' | '.join(row)} |" for row in rows]
    return "\n".join(lines) + "\n"


def number(value: float) -> str:
    """A number in full, without a needless point."""
    return f"{value:.12g}"


def shown(value: Any) -> str:
    """The value of a row: a number, a word, a list, or a table of them."""
    if isinstance(value, float):
        return number(value)
    if isinstance(value, Mapping):
        return "; ".join(f"{name}: {shown(inner)}" for name, inner in value.items())
    if isinstance(value, tuple):
        return ", ".join(f"({shown(inner)})" if isinstance(inner, tuple) else shown(inner) for inner in value)
    return str(value)


def words(thing: Any) -> str:
    """What a module or function says of itself, as a block of plain text."""
    text = re.sub(r":\w+:`~?([^`]+)`", r"\1", inspect.getdoc(thing) or "")
    return fence(text.replace("``", ""))


def fence(text: str, kind: str = "text") -> str:
    """A block of code."""
    return f"```{kind}\n{text.rstrip()}\n```\n"


# ------------------------------------------------------------------------------------------------------ evidence


def evidence_files() -> dict[str, tuple[str, tuple[Row, ...]]]:
    """Name of each evidence file -> the sentences at its head, and its rows as loaded."""
    found = {}
    for file in sorted(files("forestay.evidence").joinpath("data").iterdir(), key=lambda f: f.name):
        if file.name.endswith(".toml"):
            text = file.read_text(encoding="utf-8")
            head = re.match(r"(?:#[^\n]*\n)+", text)
            told = " ".join(line.lstrip("# ") for line in head.group().splitlines()) if head else ""
            rows = tuple(default_evidence()[entry["key"]] for entry in parse(text, file.name)[1])
            found[file.name.removesuffix(".toml")] = (told, rows)
    return found


def evidence_pages() -> dict[str, str]:
    """One page a file, and a page that leads to them."""
    pages = {}
    count: dict[str, int] = {}
    for name, (told, rows) in evidence_files().items():
        title = name.replace("_", " ").capitalize()
        pages[f"evidence/{name}.md"] = f"# {title}\n\n{cell(told)}\n\n{_evidence_table(rows)}\n{_sources(rows)}"
        for row in rows:
            count[row.standing] = count.get(row.standing, 0) + 1
    told = ", ".join(f"{n} {standing}" for standing, n in sorted(count.items(), key=lambda kv: -kv[1]))
    names = "\n".join(name.removesuffix(".md").split("/")[1] for name in pages)
    pages["evidence/index.md"] = (
        "# Evidence\n\n"
        f"Every number that an engine or a rule takes as a constant is one of these {sum(count.values())} rows "
        f"({told}). What *read* says was seen in the cited place; *derived* is arithmetic from such values; *common "
        "practice* is a fact of the trade without one source. A row from *memory* or *assumed* says why it may be "
        "wrong, and each answer that rests on it repeats the doubt.\n\n"
        f"```{{toctree}}\n:maxdepth: 1\n\n{names}\n```\n"
    )
    return pages


def spread(row: Row) -> str:
    """Standard deviation and interval of a row, where it states them."""
    parts = []
    if row.sd is not None:
        parts.append(f"SD {number(row.sd)}")
    if row.low is not None and row.high is not None:
        parts.append(f"{number(row.low)} to {number(row.high)}" + (f" ({row.interval})" if row.interval else ""))
    return "; ".join(parts)


def _evidence_table(rows: Sequence[Row]) -> str:
    """All that each row says: in six columns, since a page is only so wide."""
    return table(("Row", "Value", "Spread", "Population", "Source", "Standing"), (_evidence_line(row) for row in rows))


def _evidence_line(row: Row) -> tuple[str, ...]:
    doubt = f"<br>*Doubt: {cell(row.doubt)}*" if row.doubt else ""
    n = f"n = {row.n}" if row.n is not None else ""
    return (
        f"{cell(row.key)}<br>{cell(row.meaning)}{doubt}",
        cell(f"{shown(row.value)} {row.unit}".strip()),
        cell(spread(row)),
        cell("; ".join(filter(None, (row.population, n, str(row.year or ""))))),
        doi(row.source, cell(row.source.key)) if row.source.doi else cell(row.source.key),
        cell(row.standing),
    )


def doi(source: Source, words: str) -> str:
    """A link to a source that has a DOI."""
    return f"[{words}](<https://doi.org/{source.doi}>)"


def _sources(rows: Sequence[Row]) -> str:
    unique = {row.source.key: row.source for row in rows}
    return "## Sources\n\n" + table(
        ("Key", "Citation", "Where"),
        (
            (
                cell(source.key),
                cell(source.citation),
                doi(source, f"doi:{cell(source.doi)}") if source.doi else cell(source.address),
            )
            for source in unique.values()
        ),
    )


def glossary() -> str:
    """What each measured quantity means, its unit, and what it can be at all."""
    rows = [row for key, row in default_evidence().items() if key.startswith(LIMIT)]
    return (
        "# Glossary of quantities\n\n"
        "The names that case files, calculations and pages use. A value outside what is possible is refused with one "
        "sentence; these limits are wide on purpose and catch wrong units and swapped fields.\n\n"
        + table(
            ("Name", "Meaning", "Unit", "Possible"),
            (
                (f"`{row.key.removeprefix(LIMIT)}`", cell(row.meaning), cell(row.unit), " to ".join(_ends(row)))
                for row in rows
            ),
        )
    )


def case_file() -> str:
    """Every section and key of the case file."""
    parts = [
        "# The case file\n\n"
        "TOML, one eye, no name of a person. Only the age and the side are compulsory; an absent key means *not known*, "
        "and a key that is not listed here is refused. Clock hours and meridians are [the eye's](../conventions.md).\n"
    ]
    for name, section in CaseFile.model_fields.items():
        kind = cast(type[BaseModel], section.annotation)
        lines = (line[:4] for line in fields(kind.model_json_schema()))
        parts.append(f"## {name}\n\n{inspect.getdoc(kind)}\n\n{table(('Key', 'Meaning', 'Unit', 'Allowed'), lines)}")
    return "\n".join(parts)


def _ends(row: Row) -> Iterator[str]:
    return (number(float(end)) for end in row.value)  # type: ignore[union-attr, arg-type]


# -------------------------------------------------------------------------------------------------- calculations


def families() -> dict[str, tuple[Calculation[Any, Any], ...]]:
    """Calculations by family, in the order of the table."""
    names = import_module("forestay.calc.table").FAMILIES
    return {name: tuple(import_module(f"forestay.calc.{name}").CALCULATIONS) for name in names}


def calculation_pages() -> dict[str, str]:
    """One page a calculation, and a page that leads to them."""
    pages = {}
    parts = [
        "# Calculations\n\n"
        "Every computation that a person may want alone. Each is the command `forestay calc NAME`, the web address "
        "`/api/calc/NAME` and a Python function; all take the same keys and give the same answer: `result`, `doubts` "
        "and `sources`.\n"
    ]
    for family, rows in families().items():
        names = "\n".join(row.name for row in rows)
        parts.append(f"## {family.capitalize()}\n\n```{{toctree}}\n:maxdepth: 1\n\n{names}\n```\n")
        for row in rows:
            pages[f"calculations/{row.name}.md"] = calculation(family, row)
    pages["calculations/index.md"] = "\n".join(parts)
    return pages


def calculation(family: str, row: Calculation[Any, Any]) -> str:
    """Inputs with units and ranges, outputs, and an example with the answer that the program gives today."""
    module = import_module(f"forestay.calc.{family}")
    name = next(attribute for attribute, value in vars(module).items() if value is row)
    answer = json.dumps(row.run(row.example).as_dict(), indent=2, ensure_ascii=False)
    example = json.dumps(row.example, ensure_ascii=False)
    call = ", ".join(f"{key}={value!r}" for key, value in row.example.items())
    return "\n".join(
        [
            f"# {row.name}\n",
            f"{cell(row.summary)}\n",
            f"Computed as\n: {cell(row.formula)}\n",
            f"Studied for\n: {cell(row.valid)}\n",
            "## Input\n",
            table(("Key", "Meaning", "Unit", "Allowed", "Needed"), fields(row.input.model_json_schema())),
            "## Result\n",
            table(
                ("Key", "Meaning", "Unit"),
                (line[:3] for line in fields(row.output.model_json_schema(mode="serialization"))),
            ),
            "## Example\n",
            fence(f"$ echo '{example}' | forestay calc {row.name}", "console"),
            fence(f"from forestay.calc.{family} import {name}\n\n{name}({call})", "python"),
            fence(answer, "json"),
        ]
    )


def fields(schema: Mapping[str, Any]) -> list[tuple[str, ...]]:
    """Key, meaning, unit, what is allowed and whether it is needed, for every key and every key inside it."""
    return list(_fields(schema, schema.get("$defs", {}), ""))


def _fields(schema: Mapping[str, Any], defs: Mapping[str, Any], prefix: str) -> Iterator[tuple[str, ...]]:
    needed = set(schema.get("required", ()))
    for name, own in schema.get("properties", {}).items():
        kinds = [_resolved(kind, defs) for kind in own.get("anyOf", own.get("oneOf", [own]))]
        kinds = [kind for kind in kinds if kind.get("type") != "null"]
        first = {**(kinds[0] if kinds else {}), **{k: v for k, v in own.items() if k not in ("anyOf", "oneOf", "$ref")}}
        yield (
            f"`{prefix}{name}`",
            cell(first.get("description", "").replace("``", "")),
            cell(first.get("unit") or unit_of(name)),
            cell(" or ".join(filter(None, (_allowed(kind, defs) for kind in kinds)))),
            "yes" if name in needed else _default(own),
        )
        for kind in kinds:
            inner, mark = kind, f"{prefix}{name}."
            if kind.get("type") == "array":
                inner, mark = _resolved(kind.get("items", {}), defs), f"{prefix}{name}[]."
            yield from _fields(inner, defs, mark)


def unit_of(name: str) -> str:
    """The unit in a name: ``force_mn`` is in millinewtons."""
    return UNITS[max(ends, key=len)] if (ends := [end for end in UNITS if name.endswith(end)]) else ""


def _resolved(kind: Mapping[str, Any], defs: Mapping[str, Any]) -> Mapping[str, Any]:
    return defs[kind["$ref"].rsplit("/", 1)[1]] if "$ref" in kind else kind


def _default(own: Mapping[str, Any]) -> str:
    given = own.get("default")
    if given is None:
        return "no"
    return f"no: `{json.dumps(given, ensure_ascii=False)}`"


def _allowed(kind: Mapping[str, Any], defs: Mapping[str, Any]) -> str:
    if "const" in kind:
        return str(kind["const"])
    if "enum" in kind:
        return ", ".join(map(str, kind["enum"]))
    low, high = kind.get("minimum"), kind.get("maximum")
    if low is not None and high is not None:
        return f"{number(low)} to {number(high)}"
    if kind.get("type") == "array":
        return "list of " + (_allowed(_resolved(kind.get("items", {}), defs), defs) or "values")
    words = {"boolean": "true or false", "object": "table of keys", "number": "a number", "integer": "a whole number"}
    return words.get(kind.get("type", ""), "words")


# ------------------------------------------------------------------------------------------------------ commands


def command_tree() -> dict[str, Any]:
    """Every command by its words (``forestay plan``), groups included."""
    import typer

    from forestay.cli.main import app

    found: dict[str, Any] = {}

    def walk(command: Any, words: str) -> None:
        found[words] = command
        for name, below in getattr(command, "commands", {}).items():
            if not below.hidden:
                walk(below, f"{words} {name}")

    walk(typer.main.get_command(app), "forestay")
    return found


def commands() -> str:
    """What each command says when asked for ``--help``."""
    from typer.testing import CliRunner

    from forestay.cli.main import app

    runner = CliRunner(env={"COLUMNS": str(HELP_WIDTH), "TERM": "dumb", "NO_COLOR": "1"})
    parts = [
        "# Commands\n\n"
        "Exit status: 0 done; 1 done, but something must be rechecked; 2 bad input, or a finding that must not be "
        "planned upon. With `--json`, and always with `calc`, standard error then holds one JSON object; otherwise one "
        "sentence.\n"
    ]
    for words in command_tree():
        told = runner.invoke(app, [*words.split()[1:], "--help"], prog_name="forestay")
        if told.exit_code:
            raise RuntimeError(f"{words} --help ended with {told.exit_code}")
        text = re.sub(r"\x1b\[[0-9;]*m", "", told.stdout)
        lines = [line.rstrip() for line in text.splitlines()]
        parts.append(f"## {words}\n\n" + fence("\n".join(lines).strip("\n")))
    return "\n".join(parts)


# ------------------------------------------------------------------------------------------------------- engines


def engine_modules() -> dict[str, tuple[Any, ...]]:
    """Modules of each engine that hold public functions."""
    found = {}
    for room in ENGINES:
        names = sorted(
            file.name.removesuffix(".py")
            for file in files(f"forestay.{room}").iterdir()
            if file.name.endswith(".py") and not file.name.startswith("_")
        )
        found[room] = tuple(m for name in names if public(m := import_module(f"forestay.{room}.{name}")))
    return found


def public(module: Any) -> dict[str, Any]:
    """Functions of a module's own without a leading underscore, in the order of the file."""
    own = {
        name: value
        for name, value in vars(module).items()
        if inspect.isfunction(value) and value.__module__ == module.__name__ and not name.startswith("_")
    }
    return dict(sorted(own.items(), key=lambda kv: inspect.getsourcelines(kv[1])[1]))


def engine_pages() -> dict[str, str]:
    """One page an engine: every public function with its signature and its own words."""
    pages = {}
    for room, modules in engine_modules().items():
        parts = [f"# {room.capitalize()}\n\n{cell(inspect.getdoc(import_module(f'forestay.{room}')) or '')}\n"]
        for module in modules:
            parts.append(f"## {cell(module.__name__)}\n\n" + words(module))
            for name, function in public(module).items():
                signature = re.sub(r"'", "", str(inspect.signature(function)))
                parts.append(f"### {cell(name)}\n\n" + fence(f"{name}{signature}") + "\n" + words(function))
        pages[f"engines/{room}.md"] = "\n".join(parts)
    pages["engines/index.md"] = (
        "# Engines\n\n"
        "The pure functions below the calculations: numbers in, numbers out, scalar or array, keyword-only, constants "
        "as arguments. They know nothing of files, pages or each other, and can be imported one by one.\n\n"
        f"```{{toctree}}\n:maxdepth: 1\n\n{chr(10).join(ENGINES)}\n```\n"
    )
    return pages


# ------------------------------------------------------------------------------------------------------ pictures


def pictures() -> dict[str, str]:
    """Drawings that explain the conventions, made by the same code that draws an eye."""
    from forestay.draw.orientation import draw_orientation
    from forestay.draw.palette import LIGHT

    return {"orientation.svg": draw_orientation(palette=LIGHT), "cost.svg": cost()}


def cost() -> str:
    """Cost of many eyes against their number, from the measured figures beside the pages."""
    from tomllib import loads

    from forestay.draw.cost import draw_cost
    from forestay.draw.palette import LIGHT

    runs: dict[str, list[tuple[float, float]]] = {}
    for run in loads((Path(__file__).parent / "measured" / "batch.toml").read_text(encoding="utf-8"))["run"]:
        runs.setdefault(run["what"], []).append((run["n"], run["wall_s"]))
    sentence = (
        "Up to a million rows the start of the program is most of it; beyond, time grows with the number of rows."
    )
    return draw_cost(runs, palette=LIGHT, sentence=sentence)
