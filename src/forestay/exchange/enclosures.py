"""Photos and documents in the file of a whole practice: each as a part of its own, and a list of what was said of them."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime

from forestay.case.bodies import Digest, Name, Uuid
from forestay.case.fact import CaseId, Moment
from forestay.case.jsontext import canonical, parse
from forestay.case.lines import Enclosed
from forestay.errors import UnreadableFile
from forestay.eye.validation import validate
from forestay.record import Record
from forestay.text import tr

FOLDER, LIST = "attachments/", "attachments.json"
UNSAID = "import"
"""Who added what an export without a list holds."""


class _Listed(Record):
    """What is said of one of them; its bytes stand in the part named after its case and itself."""

    case: CaseId
    id: Uuid
    digest: Digest
    title: str
    added_at: Moment
    added_by: Name


class _List(Record):
    attachments: list[_Listed]


def write_enclosed(enclosed: Iterable[tuple[str, Enclosed]]) -> dict[str, bytes]:
    """The parts for these, each with the case that it belongs to; none where there are none."""
    parts: dict[str, bytes] = {}
    listed = []
    for case, one in enclosed:
        parts[f"{FOLDER}{case}/{one.id}"] = one.content
        said = {"title": one.title, "added_at": one.added_at, "added_by": one.added_by}
        listed.append({"case": case, "id": one.id, "digest": hashlib.sha256(one.content).hexdigest(), **said})
    return parts | ({LIST: canonical({"attachments": listed})} if listed else {})


def read_enclosed(parts: Mapping[str, bytes]) -> dict[str, tuple[Enclosed, ...]]:
    """What the parts enclose, by case. A list that names what is not there, or other bytes, is refused."""
    left = {part: data for part, data in parts.items() if part.startswith(FOLDER)}
    found: dict[str, list[Enclosed]] = defaultdict(list)
    listed = validate(_List, parse(parts[LIST], what=LIST)).attachments if LIST in parts else []
    for said in listed:
        content = left.pop(f"{FOLDER}{said.case}/{said.id}", None)
        if content is None or hashlib.sha256(content).hexdigest() != said.digest:
            raise _astray(str(said.id))
        added_at = said.added_at.astimezone(UTC).isoformat()
        found[said.case].append(Enclosed(str(said.id), said.title, added_at, said.added_by, content))
    for part, content in left.items():
        case, _, key = part.removeprefix(FOLDER).partition("/")
        if LIST in parts or not key:
            raise _astray(part)
        # Exports of before the list: the bytes and their case are known, the title is not.
        found[case].append(Enclosed(key, key, datetime.now(UTC).isoformat(), UNSAID, content))
    return {case: tuple(ones) for case, ones in found.items()}


def _astray(what: str) -> UnreadableFile:
    return UnreadableFile(
        tr("The attachment {id} is not what the list of the export says.", id=what[:80]),
        field=LIST,
        value=what[:80],
        allowed=tr("what forestay export --all wrote"),
    )
