"""Reads the rows of evidence, strictly, and hands them out with a record of what was used.

A row is one number, list or table of numbers that some engine or rule takes as a constant. Every row names its source
and its standing: ``read`` (seen in the cited place), ``derived`` (arithmetic from read inputs), ``common practice``
(a fact of the trade without one source), ``memory`` (recalled, original not opened) or ``assumed`` (a modelling
choice). The last two carry a doubt, and every answer that uses them repeats it.
"""

from __future__ import annotations

import hashlib
import json
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from functools import cache
from importlib.resources import files
from typing import Any, Literal, TypeVar, cast, get_args

from forestay.answer import Doubt
from forestay.errors import EvidenceError

Standing = Literal["read", "derived", "common practice", "memory", "assumed"]
STANDINGS: tuple[str, ...] = get_args(Standing)
DOUBTFUL: tuple[str, ...] = ("memory", "assumed")

C = TypeVar("C")
Value = float | str | tuple[float, ...] | tuple[str, ...] | Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Source:
    """Where a number was published. ``doi`` without resolver; ``address`` for pages that have no DOI."""

    key: str
    citation: str
    doi: str | None = None
    address: str | None = None


@dataclass(frozen=True, slots=True)
class Row:
    """One piece of evidence.

    ``sd`` is one standard deviation in the unit of ``value``; ``low``/``high`` an interval (``interval`` names it).
    ``doubt`` says, in one sentence, why the number may be wrong; compulsory for ``memory`` and ``assumed``.
    """

    key: str
    value: Value
    unit: str
    meaning: str
    source: Source
    standing: Standing
    sd: float | None = None
    low: float | None = None
    high: float | None = None
    interval: str | None = None
    population: str | None = None
    n: int | None = None
    year: int | None = None
    doubt: str | None = None


_ROW_KEYS = {f.name for f in fields(Row)}
_SOURCE_KEYS = {f.name for f in fields(Source)}
_REQUIRED = ("key", "value", "unit", "meaning", "source", "standing")


def _freeze(value: Any) -> Value:
    if isinstance(value, bool):
        raise TypeError("a row holds numbers, words, lists or tables")
    if isinstance(value, int | float):
        return float(value)
    if isinstance(value, str):
        return value
    if isinstance(value, list):
        return tuple(_freeze(v) for v in value)  # type: ignore[return-value]
    if isinstance(value, dict):
        return {k: _freeze(v) for k, v in value.items()}
    raise TypeError(f"a row cannot hold {type(value).__name__}")


def _row(raw: dict[str, Any], sources: Mapping[str, Source], where: str) -> Row:
    key = raw.get("key", "?")
    unknown = sorted(set(raw) - _ROW_KEYS)
    if unknown:
        raise EvidenceError(f"{where}: row {key} has an unknown key {unknown[0]!r}", field=key, value=unknown[0])
    for name in _REQUIRED:
        if name not in raw:
            raise EvidenceError(f"{where}: row {key} lacks {name!r}", field=key, allowed=", ".join(_REQUIRED))
    if raw["standing"] not in STANDINGS:
        raise EvidenceError(
            f"{where}: row {key} has standing {raw['standing']!r}", field=key, allowed=", ".join(STANDINGS)
        )
    if raw["source"] not in sources:
        raise EvidenceError(f"{where}: row {key} names an unknown source {raw['source']!r}", field=key)
    if raw["standing"] in DOUBTFUL and not raw.get("doubt"):
        raise EvidenceError(f"{where}: row {key} is from {raw['standing']} and must say its doubt", field=key)
    if (raw.get("low") is None) != (raw.get("high") is None):
        raise EvidenceError(f"{where}: row {key} needs both low and high, or neither", field=key)
    try:
        value = _freeze(raw["value"])
    except TypeError as wrong:
        raise EvidenceError(f"{where}: row {key}: {wrong}", field=key) from None
    rest = {k: v for k, v in raw.items() if k not in ("value", "source")}
    for name in ("sd", "low", "high"):
        if name in rest:
            rest[name] = float(rest[name])
    return Row(value=value, source=sources[raw["source"]], **rest)


class EvidenceSet(Mapping[str, Row]):
    """All rows by key, with a digest that names this very set. Immutable; a practice edits it by :meth:`with_values`."""

    def __init__(self, rows: Iterable[Row], sources: Mapping[str, Source] | None = None) -> None:
        table: dict[str, Row] = {}
        for row in rows:
            if row.key in table:
                raise EvidenceError(f"two rows have the key {row.key}", field=row.key)
            table[row.key] = row
        self._rows = dict(sorted(table.items()))
        self._digest: str | None = None
        self._filled: dict[type, tuple[Any, dict[str, Row]]] = {}
        self.sources: dict[str, Source] = {**(sources or {}), **{r.source.key: r.source for r in self._rows.values()}}

    def __getitem__(self, key: str) -> Row:
        try:
            return self._rows[key]
        except KeyError:
            raise EvidenceError(f"no row of evidence has the key {key}", field=key) from None

    def __contains__(self, key: object) -> bool:
        return key in self._rows

    def __iter__(self) -> Any:
        return iter(self._rows)

    def __len__(self) -> int:
        return len(self._rows)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, EvidenceSet) and self.digest == other.digest

    def __hash__(self) -> int:
        return hash(self.digest)

    @property
    def digest(self) -> str:
        """SHA-256 over the canonical text of all rows: two sets agree exactly when their digests do."""
        if self._digest is None:
            body = json.dumps(
                [[r.key, r.value, r.unit, r.sd, r.low, r.high, r.source.key, r.standing] for r in self._rows.values()],
                sort_keys=True,
                separators=(",", ":"),
            )
            self._digest = hashlib.sha256(body.encode()).hexdigest()
        return self._digest

    def with_values(self, changes: Mapping[str, Value]) -> EvidenceSet:
        """A new set in which some rows have another value, marked as this practice's own assumption."""
        own = Source("own-practice", "changed by this practice")
        rows = [
            replace(
                row,
                value=changes[row.key],
                source=own,
                standing="assumed",
                doubt=row.doubt or "changed by this practice",
            )
            if row.key in changes
            else row
            for row in self._rows.values()
        ]
        missing = [key for key in changes if key not in self._rows]
        if missing:
            raise EvidenceError(f"no row of evidence has the key {missing[0]}", field=missing[0])
        return EvidenceSet(rows, self.sources)

    def without_spread(self, keys: Iterable[str]) -> EvidenceSet:
        """A new set in which the named rows have spread zero: for tests of what an interval rests on."""
        wanted = set(keys)
        return EvidenceSet(
            (
                replace(
                    row, sd=0.0 if row.sd is not None else None, low=_centre(row, row.low), high=_centre(row, row.high)
                )
                if row.key in wanted
                else row
                for row in self._rows.values()
            ),
            self.sources,
        )

    def filled(self, kind: type) -> tuple[Any, Mapping[str, Row]]:
        """A frozen dataclass of constants filled from this set, and the rows that it took: made once for each kind."""
        if kind not in self._filled:
            if not is_dataclass(kind):
                raise TypeError(f"{kind.__name__} is not a dataclass")
            prefix = cast(str, kind.PREFIX)  # type: ignore[attr-defined]
            rows = {f.name: self[f"{prefix}.{f.name}"] for f in fields(kind)}
            made = kind(**{name: row.value for name, row in rows.items()})
            self._filled[kind] = made, {row.key: row for row in rows.values()}
        return self._filled[kind]

    def reader(self) -> Reader:
        """A view that remembers what was read from it."""
        return Reader(self)


def _centre(row: Row, bound: float | None) -> float | None:
    return row.value if bound is not None and isinstance(row.value, float) else bound


class Reader:
    """Hands out constants and remembers which rows were used, so that an answer can name its sources and doubts."""

    def __init__(self, evidence: EvidenceSet) -> None:
        self.evidence = evidence
        self._used: dict[str, Row] = {}
        self._compared: set[str] = set()
        self._held: set[str] = set()

    def row(self, key: str) -> Row:
        """The whole row, counted as used."""
        row = self.evidence[key]
        self._used[key] = row
        return row

    def number(self, key: str) -> float:
        """A single number [unit of the row]."""
        value = self.row(key).value
        if not isinstance(value, float):
            raise EvidenceError(f"row {key} is not a single number", field=key)
        return value

    def numbers(self, key: str) -> tuple[float, ...]:
        """A list of numbers."""
        value = self.row(key).value
        if not isinstance(value, tuple):
            raise EvidenceError(f"row {key} is not a list of numbers", field=key)
        return cast(tuple[float, ...], value)

    def table(self, key: str) -> Mapping[str, Any]:
        """A table of numbers by name."""
        value = self.row(key).value
        if not isinstance(value, Mapping):
            raise EvidenceError(f"row {key} is not a table", field=key)
        return value

    def sd(self, key: str) -> float:
        """One standard deviation of a row; a row without one is a fault of the evidence."""
        sd = self.row(key).sd
        if sd is None:
            raise EvidenceError(f"row {key} states no standard deviation", field=key)
        return sd

    def constants(self, kind: type[C]) -> C:
        """Fill a frozen dataclass of constants from the rows ``kind.PREFIX + "." + field``.

        Every engine takes its constants as such an object, so that it knows nothing of files and a replay under
        another set of evidence is possible.
        """
        made, rows = self.evidence.filled(kind)
        self._used.update(rows)
        return cast(C, made)

    @property
    def used(self) -> tuple[Row, ...]:
        """Rows read so far, in the order of first use."""
        return tuple(self._used.values())

    def evidence_source(self, key: str) -> str:
        """The citation of a source by its key, with its DOI; an unknown key is a fault of the rule that names it."""
        source = self.evidence.sources.get(key)
        if source is None:
            raise EvidenceError(f"no source has the key {key}", field=key)
        return source.citation + (f" doi:{source.doi}" if source.doi else "")

    def weigh(self, keys: Iterable[str], *, held: bool) -> None:
        """Remember the rows that a rule compares with, and whether the rule held."""
        (self._held if held else self._compared).update(keys)

    def idle(self, key: str) -> bool:
        """Whether only rules that do not hold compare with a row: it moves nothing here."""
        return key in self._compared and key not in self._held

    def merge(self, other: Reader) -> None:
        """Count what another reader used as used here."""
        self._used.update(other._used)
        self._compared |= other._compared
        self._held |= other._held

    def sources(self) -> list[dict[str, Any]]:
        """``[{"key", "citation", "standing", "rows"}]``, one entry for each source and standing."""
        grouped: dict[tuple[str, str], dict[str, Any]] = {}
        for row in self._used.values():
            citation = row.source.citation + (f" doi:{row.source.doi}" if row.source.doi else "")
            entry = grouped.setdefault(
                (row.source.key, row.standing),
                {"key": row.source.key, "citation": citation, "standing": row.standing, "rows": []},
            )
            entry["rows"].append(row.key)
        return list(grouped.values())

    def doubts(self) -> list[Doubt]:
        """One doubt for each distinct reason among the used rows that are from memory or assumed."""
        found: dict[tuple[str, str], None] = {}
        for row in self._used.values():
            if row.standing in DOUBTFUL and row.doubt:
                found.setdefault((row.standing, row.doubt))
        return [Doubt(f"from-{standing}" if standing == "memory" else standing, doubt) for standing, doubt in found]


def parse(text: str, where: str) -> tuple[dict[str, Source], list[dict[str, Any]]]:
    """Sources and raw rows of one evidence file (TOML with ``[[source]]`` and ``[[row]]``)."""
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as wrong:
        raise EvidenceError(f"{where}: {wrong}") from None
    unknown = sorted(set(raw) - {"source", "row"})
    if unknown:
        raise EvidenceError(f"{where}: unknown table {unknown[0]!r}", allowed="source, row")
    sources: dict[str, Source] = {}
    for entry in raw.get("source", []):
        extra = sorted(set(entry) - _SOURCE_KEYS)
        if extra or "key" not in entry or "citation" not in entry:
            raise EvidenceError(f"{where}: a source needs key and citation, and may have doi and address", value=entry)
        sources[entry["key"]] = Source(**entry)
    return sources, raw.get("row", [])


@cache
def default_evidence() -> EvidenceSet:
    """The evidence that ships with the package, read once in a process."""
    parsed = []
    sources: dict[str, Source] = {}
    for file in sorted(files("forestay.evidence").joinpath("data").iterdir(), key=lambda f: f.name):
        if not file.name.endswith(".toml"):
            continue
        own, raw = parse(file.read_text(encoding="utf-8"), file.name)
        for key, source in own.items():
            if sources.setdefault(key, source) != source:
                raise EvidenceError(f"{file.name}: source {key} is defined twice, differently", field=key)
        parsed.append((file.name, raw))
    return EvidenceSet((_row(entry, sources, where) for where, raw in parsed for entry in raw), sources)
