"""Everything that a rule may look at, cut down to the values at which some rule changes its mind.

A name of the case file has the type and range of its field; any other name has the values that rules compare it with.
A number is sampled at every threshold, between neighbours, and beyond both ends; ``None`` is "not known".
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cache
from itertools import combinations, pairwise
from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic.fields import FieldInfo

from forestay.evidence import Reader
from forestay.eye.condition import Comparison, Condition
from forestay.eye.records import CaseFile
from forestay.plan.ruleset import BESIDE, FILES, Rule, ruleset
from forestay.record import Record

Domain = Mapping[str, tuple[Any, ...]]
"""Name -> values worth trying, ``None`` first."""
Table = Mapping[str, Mapping[str, Sequence[Rule]]]
"""File -> kind -> rules, as the rule files hold them."""
OWN_WORDS: dict[str, tuple[str, ...]] = {
    "measure.ring": ("none", "before-nucleus", "after-nucleus"),
    "option.technique": ("manual-small-incision", "phacoemulsification", "extracapsular", "intracapsular"),
    "measure.anaesthetic": ("topical", "sub-tenon", "peribulbar", "retrobulbar", "general"),
    "measure.lens_position": (
        "bag",
        "sulcus",
        "optic-capture",
        "scleral",
        "retropupillary-iris",
        "anterior-chamber",
        "aphakia",
    ),
}
"""Words that a measure of the plan can take."""


def every_rule(table: Table | None = None) -> Iterator[Rule]:
    """All rules, the cues of a step and the rungs of a ladder after it."""
    for kinds in ({name: ruleset(name) for name in (*FILES, *BESIDE)} if table is None else table).values():
        for rules in kinds.values():
            for rule in rules:
                yield rule
                yield from rule.inner


@cache
def _fields() -> dict[str, FieldInfo]:
    found: dict[str, FieldInfo] = {}

    def walk(record: type[Record], prefix: str) -> None:
        for name, info in record.model_fields.items():
            inner = next((a for a in _alternatives(info.annotation) if _is_record(a)), None)
            if inner is not None:
                walk(inner, f"{prefix}{name}.")
            else:
                found[f"{prefix}{name}"] = info

    walk(CaseFile, "")
    return found


def _is_record(kind: Any) -> bool:
    return isinstance(kind, type) and issubclass(kind, Record)


def _alternatives(kind: Any) -> tuple[Any, ...]:
    """The types that a field may hold, ``None`` and annotations taken off."""
    if get_origin(kind) is Annotated:
        return _alternatives(get_args(kind)[0])
    if get_origin(kind) in (Union, UnionType):
        return tuple(a for part in get_args(kind) if part is not type(None) for a in _alternatives(part))
    return (kind,)


def words_of(name: str) -> tuple[str, ...] | None:
    """The words that ``name`` can take; None where it is no word, or any word."""
    if name in OWN_WORDS:
        return OWN_WORDS[name]
    if name == "progress.states":
        return tuple(str(rule.data["key"]) for rule in ruleset("events")["state"])
    info = _fields().get(name)
    if info is None:
        return None
    for kind in _alternatives(info.annotation):
        item = get_args(kind)[0] if get_origin(kind) is tuple else kind
        if get_origin(item) is Literal:
            return tuple(str(word) for word in get_args(item))
    return None


def bounds_of(name: str) -> tuple[float, float]:
    """Lowest and highest value that the field can hold; without limit where it is no field."""
    info = _fields().get(name)
    parts = list(info.metadata) if info else []
    for kind in get_args(info.annotation) if info else ():
        if get_origin(kind) is Annotated:
            for note in get_args(kind)[1:]:
                parts += note.metadata if isinstance(note, FieldInfo) else [note]
    low = next((float(p.ge) for p in parts if getattr(p, "ge", None) is not None), float("-inf"))
    high = next((float(p.le) for p in parts if getattr(p, "le", None) is not None), float("inf"))
    return low, high


def is_field(name: str) -> bool:
    """Whether ``name`` is a field of the case file."""
    return name in _fields()


def domains(use: Reader, table: Table | None = None) -> Domain:
    """Name -> values worth trying, over every comparison of every rule."""
    comparisons: dict[str, list[Comparison]] = {}
    for rule in every_rule(table):
        for line in rule.when.lines:
            for comparison in line:
                comparisons.setdefault(comparison.name, []).append(comparison)
    return {name: (None, *_values(name, found, use)) for name, found in comparisons.items()}


def _values(name: str, comparisons: Iterable[Comparison], use: Reader) -> tuple[Any, ...]:
    asked = [c for c in comparisons if c.value is not None]
    if any(c.op in ("has", "lacks") for c in asked):
        words = sorted({w for c in asked for w in _words(c)})
        return ((), *((w,) for w in words), *combinations(words, 2), tuple(words))
    if any(c.op in ("<", "<=", ">", ">=") or (c.value or "").startswith("@") for c in asked):
        return _numbers(name, {_number(c, use) for c in asked})
    if any(c.value in ("true", "false") for c in asked):
        return (False, True)
    if asked and all(_is_number(w) for c in asked for w in _words(c)):
        return _numbers(name, {float(w) for c in asked for w in _words(c)})
    known = words_of(name)
    words = sorted({w for c in asked for w in _words(c)})
    return known if known is not None else (*words, "anything else")


def _words(comparison: Comparison) -> list[str]:
    return [w.strip() for w in (comparison.value or "").split(",")]


def _number(comparison: Comparison, use: Reader) -> float:
    value = comparison.value or ""
    return use.number(value[1:]) if value.startswith("@") else float(value)


def _is_number(word: str) -> bool:
    try:
        float(word)
    except ValueError:
        return False
    return True


def _numbers(name: str, cuts: set[float]) -> tuple[float, ...]:
    """Every threshold, a value between neighbours, and one beyond each end; only what the field can hold."""
    low, high = bounds_of(name)
    ordered = sorted(cuts)
    between = [(a + b) / 2 for a, b in pairwise(ordered)]
    tried = {*ordered, *between, ordered[0] - 1.0, ordered[0] / 2, ordered[-1] + 1.0}
    return tuple(sorted(v for v in tried if low <= v <= high))


def satisfying(conditions: Iterable[Condition], domain: Domain, use: Reader) -> dict[str, Any] | None:
    """Values under which all the conditions hold together; None where there are none.

    Names are taken as free of one another, so what is called impossible is impossible; what is called possible may
    still be excluded by how one name follows from others.
    """
    lines = sorted((line for c in conditions for line in c.lines), key=len)

    def search(index: int, left: dict[str, tuple[Any, ...]]) -> dict[str, Any] | None:
        if index == len(lines):
            return {name: values[0] for name, values in left.items()}
        for comparison in lines[index]:
            values = left.get(comparison.name, domain[comparison.name])
            kept = tuple(v for v in values if comparison.holds({comparison.name: v}, use))
            if kept:
                found = search(index + 1, {**left, comparison.name: kept})
                if found is not None:
                    return found
        return None

    return search(0, {})


def escapes(inner: Condition, outer: Iterable[Condition], domain: Domain, use: Reader) -> dict[str, Any] | None:
    """Values under which ``inner`` holds and none of ``outer`` does; None where ``inner`` always brings one with it."""
    others = list(outer)
    names = sorted(inner.names | {n for c in others for n in c.names})

    def search(index: int, view: dict[str, Any]) -> dict[str, Any] | None:
        if index == len(names):
            good = inner.holds(view, use) and not any(c.holds(view, use) for c in others)
            return dict(view) if good else None
        for value in domain[names[index]]:
            found = search(index + 1, {**view, names[index]: value})
            if found is not None:
                return found
        return None

    return search(0, {})
