"""The case as text, one JSON object a line: what is exported, imported and planned from. Lossless.

The first line names the format (``forestay-facts``), its version, the case, how many lines follow and the head of the
chain. Each further line is one fact: its header, the exact text of its body and, once accepted, salt, leaf and chain
hash in hexadecimal. An erased fact has header, leaf and chain only. ``docs/facts.md`` describes every key.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from pydantic import Field, model_validator

from forestay.case.bodies import Digest
from forestay.case.chain import Link, facts_of, head, verify
from forestay.case.fact import CaseId, Fact, Header, content
from forestay.case.jsontext import canonical, parse
from forestay.errors import ForestayError, InvalidInput, UnreadableFile
from forestay.eye.validation import validate
from forestay.record import Record
from forestay.text import tr

FORMAT = "forestay-facts"
VERSION = 1


class _First(Record):
    format: Literal["forestay-facts"]
    version: int = Field(ge=1)
    case: CaseId
    facts: int = Field(ge=0)
    head: Digest | None


class _Line(Record):
    header: dict[str, Any]
    body: str | None = None
    salt: Digest | None = None
    leaf: Digest | None = None
    chain: Digest | None = None

    @model_validator(mode="after")
    def _pending_or_accepted(self) -> _Line:
        accepted = (self.leaf is not None, self.chain is not None, self.header.get("server_sequence") is not None)
        if any(accepted) != all(accepted):
            raise ValueError(tr("leaf, chain and server_sequence together, or none of them"))
        if (self.salt is not None) != (all(accepted) and self.body is not None):
            raise ValueError(tr("a salt where there are leaf and body, and only there"))
        if self.body is None and not all(accepted):
            raise ValueError(tr("a body"))
        return self


@dataclass(frozen=True, slots=True)
class Enclosed:
    """A photo or document that was kept with a case, with what was said of it there."""

    id: str
    title: str
    added_at: str
    """ISO 8601, in UTC."""
    added_by: str
    content: bytes


@dataclass(frozen=True, slots=True)
class Exported:
    """A case as it stood in a file: the accepted facts with their chain, those that still wait, and what is enclosed."""

    case: str
    links: tuple[Link, ...]
    pending: tuple[Fact, ...]
    enclosed: tuple[Enclosed, ...] = ()

    @property
    def facts(self) -> list[Fact]:
        """All facts that were not erased."""
        return [*facts_of(self.links), *self.pending]


def write(case: str, links: Sequence[Link], pending: Iterable[Fact] = ()) -> bytes:
    """The case as lines; reading them gives the very same bytes of bodies, salts and chain."""
    lines = [_accepted_line(link) for link in links] + [_pending_line(fact) for fact in pending]
    first = {
        "format": FORMAT,
        "version": VERSION,
        "case": case,
        "facts": len(lines),
        "head": head(links).hex() if links else None,
    }
    return b"".join(canonical(line) + b"\n" for line in [first, *lines])


def _accepted_line(link: Link) -> dict[str, Any]:
    line: dict[str, Any] = {"header": link.header.as_dict(), "leaf": link.leaf.hex(), "chain": link.chain.hex()}
    if link.body is not None and link.salt is not None:
        line |= {"body": link.body.decode(), "salt": link.salt.hex()}
    return line


def _pending_line(fact: Fact) -> dict[str, Any]:
    return {"header": fact.header.as_dict(), "body": fact.body.decode()}


def looks_like_facts(text: str) -> bool:
    """Whether this is meant as exported facts: no case file begins with a brace."""
    return text.lstrip().startswith("{")


def read(data: bytes) -> Exported:
    """The case in ``data``, each header, body and the chain checked; a record that was changed is refused."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise UnreadableFile(tr("The file is not UTF-8 text.")) from None
    lines = text.split("\n")
    first = _first(lines[0])
    numbered = [(number, line) for number, line in enumerate(lines[1:], start=2) if line.strip()]
    if len(numbered) != first.facts:
        raise UnreadableFile(
            tr(
                "The file holds {found} facts where its first line says {stated}.",
                found=len(numbered),
                stated=first.facts,
            ),
            field="facts",
            value=len(numbered),
            allowed=str(first.facts),
        )
    links: list[Link] = []
    pending: list[Fact] = []
    for number, line in numbered:
        item = _numbered(number, line, first.case)
        if isinstance(item, Link):
            links.append(item)
        else:
            pending.append(item)
    broken = verify(links, head_kept=bytes.fromhex(first.head) if first.head else None)
    if broken is not None:
        raise broken.error()
    return Exported(first.case, tuple(links), tuple(pending))


def _first(line: str) -> _First:
    raw = parse(line, what=tr("line {number}", number=1))
    if not isinstance(raw, dict) or raw.get("format") != FORMAT:
        raise UnreadableFile(
            tr(
                "This is JSON, but not exported facts: the first line does not name the format {format}.", format=FORMAT
            ),
            field="format",
            allowed=FORMAT,
        )
    if isinstance(raw.get("version"), int) and raw["version"] > VERSION:
        raise UnreadableFile(
            tr("These facts were exported by a newer Forestay; update this one to read them."),
            field="version",
            value=raw["version"],
            allowed=str(VERSION),
        )
    return validate(_First, raw)


def _numbered(number: int, text: str, case: str) -> Link | Fact:
    where = tr("line {number}", number=number)
    raw = parse(text, what=where)
    try:
        return _item(raw, case)
    except ForestayError as wrong:
        told = tr("In {where}: {told}", where=where, told=wrong.message)
        raise type(wrong)(told, field=wrong.field, value=wrong.value, allowed=wrong.allowed) from None


def _item(raw: Any, case: str) -> Link | Fact:
    line = validate(_Line, raw)
    header = validate(Header, line.header)
    if header.case != case:
        raise InvalidInput(
            tr("The fact belongs to case {other}, the file to case {case}.", other=header.case, case=case),
            field="case",
            value=header.case,
            allowed=case,
        )
    body = line.body.encode() if line.body is not None else None
    if body is not None:
        content(Fact(header, body))
    if line.leaf is None or line.chain is None:
        return Fact(header, body or b"")
    salt = bytes.fromhex(line.salt) if line.salt is not None else None
    return Link(header, bytes.fromhex(line.leaf), bytes.fromhex(line.chain), body, salt)
