"""The settings of the practice: read, changed part by part, taken in and given out as a TOML file. Every face calls these."""

from __future__ import annotations

import hashlib
import json
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from forestay.case.jsontext import canonical
from forestay.errors import ConflictingFact, InvalidInput, NotFound, UnreadableFile
from forestay.eye.lens_shelf import LensShelf
from forestay.eye.validation import validate
from forestay.plan.device_shelf import DeviceShelf
from forestay.plan.practice_settings import House, OwnSigns, SettingsFile, Shown, Surgeons
from forestay.record import Record
from forestay.services.cases import Who
from forestay.services.toml_text import toml_text
from forestay.store.interface import FactStore, now
from forestay.store.settings import Setting
from forestay.text import tr

Change = Setting
"""One change of the settings, as it is kept."""
PARTS: dict[str, type[Record]] = {
    "surgeons": Surgeons,
    "theatre": House,
    "shown": Shown,
    "lenses": LensShelf,
    "devices": DeviceShelf,
    "signs": OwnSigns,
}
"""Name of a part to what it holds."""
MARK_LETTERS = 16


@dataclass(frozen=True)
class Settings:
    """The settings after a change; a part that was never said is None, which is "not known"."""

    number: int = 0
    """The last change; 0 where nothing was ever said."""
    surgeons: Surgeons | None = None
    theatre: House | None = None
    shown: Shown | None = None
    lenses: LensShelf | None = None
    devices: DeviceShelf | None = None
    signs: OwnSigns | None = None
    changed: Mapping[str, Setting] = field(default_factory=dict)
    """The last change of each part."""

    def part(self, name: str) -> Record | None:
        """One part by its name."""
        found: Record | None = getattr(self, name)
        return found

    def seen(self, name: str) -> int:
        """The last change of a part: what a new one is based on by whoever sees this."""
        return self.changed[name].number if name in self.changed else 0

    def for_new_case(self, surgeon: str = "") -> dict[str, Any]:
        """What a new case takes over, by field of the case file; of the surgeon of that name, else of the first."""
        values = self.theatre.values() if self.theatre else {}
        everyone = self.surgeons.surgeon if self.surgeons else ()
        who = next((one for one in everyone if one.name == surgeon), None)
        if surgeon and who is None:
            known = ", ".join(one.name for one in everyone)
            raise InvalidInput(
                tr("There is no surgeon {name} in the settings.", name=surgeon[:60]),
                field="surgeon",
                value=surgeon[:60],
                allowed=known or None,
            )
        who = who or (everyone[0] if everyone else None)
        return values | (who.values() if who else {})


def settings(store: FactStore, *, at: int | None = None) -> Settings:
    """The settings in force, or as they were after the change ``at``."""
    rows = store.practice.rows(at=at)
    if at is not None and (not rows or rows[-1].number != at):
        allowed = tr("1 to {last}", last=store.practice.last())
        raise NotFound(
            tr("There is no change {number} of the settings.", number=at), field="at", value=at, allowed=allowed
        )
    last = {row.part: row for row in rows if row.part in PARTS}
    told = {name: validate(PARTS[name], json.loads(row.content)) for name, row in last.items()}
    return Settings(number=rows[-1].number if rows else 0, changed=last, **told)  # type: ignore[arg-type]


def history(store: FactStore) -> list[Setting]:
    """Every change, newest first."""
    return store.practice.rows()[::-1]


def keep(
    store: FactStore, part: str, told: Record | Mapping[str, Any], *, who: Who, based_on: int | None = None
) -> Setting | None:
    """Keep a part as a whole; None where it says what is kept already."""
    model = PARTS[known_part(part)]
    made = told if isinstance(told, model) else validate(model, told)
    content = canonical(made.model_dump(mode="json", exclude_none=True))
    kept = settings(store)
    if part in kept.changed and kept.changed[part].content == content:
        return None
    return store.practice.add(part, content, author=who.author, device=who.device, at=now(), based_on=based_on)


LISTS = {"surgeons": "surgeon", "lenses": "lens", "devices": "item", "signs": "sign"}
"""Parts that are lists, with the key of their entries."""


def entries_of(kept: Settings, part: str) -> tuple[Record, ...]:
    """The entries of a part that is a list."""
    return tuple(getattr(kept.part(part), LISTS[part], ()))


def mark_of(entry: Record) -> str:
    """By what an entry is told from the others: what it says."""
    return hashlib.sha256(canonical(entry.model_dump(mode="json", exclude_none=True))).hexdigest()[:MARK_LETTERS]


def change_entry(
    store: FactStore, part: str, mark: str, entry: Record | None, *, who: Who, before: Iterable[Record] = ()
) -> Setting | None:
    """Put ``entry`` in the place of the one with this mark, at the end where there is no mark; None takes it away.

    An entry that somebody else has changed or taken away meanwhile is not touched. ``before``: the entries of a shelf that
    came from a file, which are taken over with the first change.
    """
    kept = settings(store)
    rows = list(before if kept.part(part) is None else entries_of(kept, part))
    at = next((n for n, row in enumerate(rows) if mark_of(row) == mark), None) if mark else len(rows)
    if at is None:
        raise ConflictingFact(
            tr("This entry was changed or removed meanwhile; look at the list as it is now."),
            field="entry",
            value=mark[:40],
        )
    rows[at : at + 1] = [] if entry is None else [entry]
    whole = {LISTS[part]: [row.model_dump() for row in rows]}
    return keep(store, part, whole, who=who, based_on=kept.seen(part))


SINGLE = ("theatre", "shown")
"""Parts whose things are set one by one."""


def set_one(store: FactStore, name: str, values: tuple[str, ...], *, who: Who) -> bool:
    """Set one thing by its name, as ``theatre.techniques``; no value means "not known". True where it changed."""
    part, _, key = name.partition(".")
    known = [f"{one}.{thing}" for one in SINGLE for thing in PARTS[one].model_fields]
    if name not in known:
        allowed = ", ".join(known)
        raise InvalidInput(
            tr("{name} is not a setting; allowed: {allowed}.", name=name[:60], allowed=allowed),
            field="NAME",
            value=name[:60],
            allowed=allowed,
        )
    before = settings(store).part(part) or PARTS[part]()
    several = "tuple" in str(PARTS[part].model_fields[key].annotation)
    if len(values) > 1 and not several:
        raise InvalidInput(tr("{name} takes one value.", name=name), field=name, allowed=tr("one value"))
    listed: Any = [] if values == ("none",) else list(values)
    value = None if not values else listed if several else values[0]
    told = {**before.model_dump(exclude_none=True), key: value}
    return keep(store, part, told, who=who) is not None


def known_part(name: str) -> str:
    """The name of a part; another one is refused."""
    if name not in PARTS:
        allowed = ", ".join(PARTS)
        raise NotFound(
            tr("There is no part {name} of the settings; allowed: {allowed}.", name=name[:40], allowed=allowed),
            field="part",
            value=name[:40],
            allowed=allowed,
        )
    return name


def take_in(store: FactStore, data: bytes, name: str, *, who: Who) -> tuple[str, ...]:
    """Keep what a settings file says: the parts that changed. A shelf of lenses or devices is such a file too."""
    parts = _parts(read_file(data, name))
    if not parts:
        raise InvalidInput(
            tr("{name} says nothing that is a setting.", name=name),
            field="settings",
            allowed=", ".join(SettingsFile.model_fields),
        )
    return tuple(part for part, told in parts.items() if keep(store, part, told, who=who) is not None)


def in_file(data: bytes, name: str) -> Settings:
    """What a settings file says, as if it were kept: nothing is."""
    return Settings(**_parts(read_file(data, name)))  # type: ignore[arg-type]


def read_file(data: bytes, name: str) -> SettingsFile:
    """What a settings file says; what is wrong with it is one sentence."""
    try:
        raw = tomllib.loads(data.decode("utf-8-sig"))
    except (UnicodeDecodeError, ValueError, RecursionError) as wrong:
        raise UnreadableFile(
            tr("{name} cannot be read as TOML: {why}.", name=name, why=str(wrong).splitlines()[0]),
            field="settings",
            value=name,
            allowed="TOML",
        ) from None
    return validate(SettingsFile, raw)


def _parts(file: SettingsFile) -> dict[str, Record]:
    parts: dict[str, Record] = {}
    if file.surgeon is not None:
        parts["surgeons"] = validate(Surgeons, {"surgeon": [one.model_dump() for one in file.surgeon]})
    if file.theatre is not None:
        parts["theatre"] = file.theatre
    if file.shown is not None:
        parts["shown"] = file.shown
    if file.lens is not None:
        parts["lenses"] = validate(
            LensShelf, {"lens": [one.model_dump() for one in file.lens], "invented": file.invented}
        )
    if file.item is not None:
        parts["devices"] = DeviceShelf(item=file.item, invented=file.invented)
    if file.sign is not None:
        parts["signs"] = validate(OwnSigns, {"sign": [one.model_dump() for one in file.sign]})
    return parts


def as_toml(kept: Settings) -> str:
    """The settings as a file that can be taken in again."""
    shelves = [shelf for shelf in (kept.lenses, kept.devices) if shelf is not None]
    told: dict[str, Any] = {}
    if shelves and all(shelf.invented for shelf in shelves):
        told["invented"] = True
    for name, record in (("theatre", kept.theatre), ("shown", kept.shown)):
        if record is not None:
            told[name] = record.model_dump(exclude_defaults=True)
    if kept.surgeons is not None:
        told["surgeon"] = _rows(kept.surgeons.surgeon)
    if kept.lenses is not None:
        told["lens"] = _rows(kept.lenses.lens)
    if kept.devices is not None:
        told["item"] = _rows(kept.devices.item)
    if kept.signs is not None:
        told["sign"] = _rows(kept.signs.sign)
    return toml_text(told)


def _rows(records: Iterable[Record]) -> list[dict[str, Any]]:
    return [record.model_dump(exclude_defaults=True) for record in records]
