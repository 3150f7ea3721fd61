"""What may be asked of the facts: words, and fields with a value. And what of a fact answers: the same for every store."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal

from forestay.case.bodies import Planned, Signed
from forestay.case.fact import Fact, content
from forestay.errors import InvalidInput
from forestay.text import tr

Sign = Literal["=", "<", ">", "<=", ">="]
LONGEST_WORD = 200
MOST_PARTS = 12


@dataclass(frozen=True, slots=True)
class Word:
    """A fact that has a word beginning so."""

    start: str


@dataclass(frozen=True, slots=True)
class Field:
    """A fact that gives a field a value: ``axial_length_mm > 26``, ``appearance = white``. The name may leave its section out."""

    name: str
    sign: Sign
    value: float | str


Part = Word | Field


@dataclass(frozen=True, slots=True)
class Question:
    """All parts must be answered within one case, each by some fact of it."""

    parts: tuple[Part, ...]


@dataclass(frozen=True, slots=True)
class Value:
    """A value that a fact gives a field: a number or a word."""

    name: str
    place: int
    number: float | None
    word: str | None


def question(text: str) -> Question:
    """Read what somebody typed.

    >>> question("white axial_length_mm>26,5").parts
    (Word(start='white'), Field(name='axial_length_mm', sign='>', value=26.5))
    """
    parts: list[Part] = []
    joined = re.sub(r"\s*(<=|>=|=|<|>)\s*", r"\1", text.strip())
    for piece in joined.split():
        told = re.fullmatch(r"([A-Za-z][\w.]*)(<=|>=|=|<|>)(\S+)", piece)
        if told is not None:
            parts.append(Field(told[1].lower(), told[2], _value(told[1], told[2], told[3])))  # type: ignore[arg-type]
        else:
            parts += [Word(word) for word in words(piece)]
    if not parts or len(parts) > MOST_PARTS:
        allowed = tr("1 to {most} words, or fields such as axial_length_mm>26", most=MOST_PARTS)
        raise InvalidInput(tr("Nothing to look for; allowed: {allowed}.", allowed=allowed), field="q", allowed=allowed)
    return Question(tuple(parts))


def _value(name: str, sign: str, text: str) -> float | str:
    try:
        number = float(text.replace(",", "."))
    except ValueError:
        if sign == "=":
            return text.lower()
        raise InvalidInput(
            tr("{field} is {value!r}; allowed: a number.", field=name[:40], value=text[:40]),
            field=name[:40],
            value=text[:40],
            allowed=tr("a number"),
        ) from None
    if not math.isfinite(number):
        raise InvalidInput(
            tr("{field} is {value!r}; allowed: a number.", field=name[:40], value=text[:40]), field=name[:40]
        )
    return number


def words(text: str) -> list[str]:
    """Words as they are looked for: small letters without accents.

    >>> words("Zonule: déhiscence at 3–5")
    ['zonule', 'dehiscence', 'at', '3', '5']
    """
    plain = "".join(c for c in unicodedata.normalize("NFKD", text.lower()) if not unicodedata.combining(c))
    return [word[:LONGEST_WORD] for word in re.findall(r"[^\W_]+", plain)]


def text_of(fact: Fact) -> str:
    """The words by which a fact is found: its kind, the names of its fields, and every word that it says."""
    return " ".join([fact.header.kind, *_texts(_told(fact))])


def values_of(fact: Fact) -> list[Value]:
    """The values that a fact gives to fields."""
    found: list[Value] = []
    for name, told in _named(_told(fact)):
        many = told if isinstance(told, list | tuple) else [told]
        found += [
            _one(name.lower(), place, one) for place, one in enumerate(many) if isinstance(one, str | int | float)
        ]
    return found


def answers(part: Part, fact: Fact) -> bool:
    """Whether this fact answers this part: what an index must give too."""
    if isinstance(part, Word):
        return any(word.startswith(part.start) for word in words(text_of(fact)))
    return any(_fits(part, value) for value in values_of(fact))


def _fits(part: Field, value: Value) -> bool:
    if value.name != part.name and not value.name.endswith(f".{part.name}"):
        return False
    if isinstance(part.value, str):
        return value.word == part.value
    if value.number is None:
        return False
    below, same = value.number < part.value, value.number == part.value
    return {"=": same, "<": below, "<=": below or same, ">": not below and not same, ">=": not below}[part.sign]


def _one(name: str, place: int, told: str | float | bool) -> Value:
    if isinstance(told, bool):
        return Value(name, place, None, "true" if told else "false")
    if isinstance(told, str):
        return Value(name, place, None, told.lower()[:LONGEST_WORD])
    return Value(name, place, float(told), None)


def _told(fact: Fact) -> dict[str, Any]:
    body = content(fact)
    if isinstance(body, Planned | Signed):
        return {}
    told: dict[str, Any] = body.model_dump(mode="json", exclude_none=True)
    for nested in ("values", "sizes"):
        told.update(told.pop(nested, {}))
    if "subject" in told and isinstance(told.get("choice"), str | int | float):
        told[str(told["subject"])] = told["choice"]
    return told


def _named(told: dict[str, Any]) -> Iterator[tuple[str, Any]]:
    for name, value in told.items():
        if isinstance(value, dict):
            yield from ((f"{name}.{inner}", one) for inner, one in value.items())
        else:
            yield name, value


def _texts(told: dict[str, Any]) -> Iterator[str]:
    for name, value in _named(told):
        if value is False or value in ("none", [], ()):
            continue
        yield name.rpartition(".")[2]
        many = value if isinstance(value, list | tuple) else [value]
        yield from (one for one in many if isinstance(one, str))
