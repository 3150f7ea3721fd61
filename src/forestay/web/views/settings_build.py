"""From the settings in force to their page."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date

from forestay.calc.zonule_input import shipped
from forestay.evidence import default_evidence
from forestay.plan.device_shelf import DeviceShelf, ShelfItem, drugs
from forestay.record import Record
from forestay.services.in_force import From, Now
from forestay.services.settings import Change
from forestay.text import NAMES, tr
from forestay.web.settings_fields import lens_texts
from forestay.web.views.forms_page import Button, FieldOfForm, Form, Rows
from forestay.web.views.settings import SettingsSection, SettingsView
from forestay.web.views.settings_words import (
    choice_words,
    column_words,
    labels,
    page_titles,
    ratio_words,
    sign_words,
    thing_words,
)
from forestay.web.views.shell import Link, shell

HOME = "/settings"
CHANGES_SHOWN = 50


def settings_view(
    now: Now,
    changes: Iterable[Change],
    *,
    names: Mapping[str, str],
    today: date,
    may_change: bool,
    said: str = "",
    wrong: bool = False,
) -> SettingsView:
    """The page. ``names``: what authors are called on screen."""
    then = tr("As they were after change {number}; nothing can be changed here.", number=now.kept.number)
    return SettingsView(
        shell=shell(tr("Settings"), HOME),
        lead=(
            tr(
                "What the practice says of itself once: new cases take it over, and plans are made with its shelves. A case "
                "that is open keeps what it took over."
            ),
            *([then] if now.lenses == now.devices == "then" else []),
        ),
        said=said,
        wrong=wrong,
        sections=tuple(_sections(now, today, may_change=may_change)),
        forms=(_import_form(),) if may_change else (),
        tables=tuple(_history(list(changes)[:CHANGES_SHOWN], names)),
    )


def _sections(now: Now, today: date, *, may_change: bool) -> Iterable[SettingsSection]:
    titles, kept = page_titles(), now.kept

    def made(key: str, about: Iterable[str], table: Rows | None) -> SettingsSection:
        ways = (Link(tr("Change: {what}", what=titles[key]), f"{HOME}/{key}"),) if may_change else ()
        return SettingsSection(key, titles[key], tuple(about), table, ways)

    everyone = kept.surgeons.surgeon if kept.surgeons else ()
    yield made(
        "surgeons",
        (tr("A new case takes over grade, seat and hand of the first, or of the one who is chosen; never the name."),),
        _table(
            titles["surgeons"],
            ("name", "surgeon_grade", "seat", "dominant_hand"),
            [(s.name, *_chosen(s, ("surgeon_grade", "seat", "dominant_hand"))) for s in everyone],
        ),
    )
    yield made("theatre", (), _pairs(titles["theatre"], kept.theatre))
    yield made("shown", (), _pairs(titles["shown"], kept.shown))
    lenses = now.given.lenses
    models = lenses.lens if lenses else ()
    yield made(
        "lenses",
        _whence(now.lenses),
        _table(
            titles["lenses"],
            ("name", "kind", "optic_mm", "constants", "ranges", "stock", "cylinders"),
            [
                (t["name"], choice_words("kind", t["kind"]), *(t[n].replace("\n", "; ") for n in LENS_COLUMNS))
                for t in map(lens_texts, models)
            ],
        ),
    )
    for key in ("devices", "drugs"):
        yield made(key, _whence(now.devices), _items(titles[key], now.given.devices, today, drug=key == "drugs"))
    own = {one.sign: ratio_words(one) for one in now.given.ratios}
    rows: list[tuple[str, ...]] = [
        (sign_words(s.sign), ratio_words(s), own.get(s.sign, "")) for s in shipped(default_evidence().reader())
    ]
    about = tr(
        "No study has measured what these signs say. Where the practice puts in its own figure and range, its plans reckon with "
        "it and say so."
    )
    yield made("signs", (about,), _table(titles["signs"], ("sign", "ships", "here"), rows))


LENS_COLUMNS = ("optic_mm", "constants", "ranges", "stock", "cylinders")


def _items(title: str, shelf: DeviceShelf | None, today: date, *, drug: bool) -> Rows | None:
    items = [i for i in (shelf.item if shelf else ()) if (i.thing in drugs()) is drug]
    columns = ("thing", "count", "size_mm", "expires", "lot", "reusable")
    return _table(title, columns, [_item(i, today) for i in items])


def _item(item: ShelfItem, today: date) -> tuple[str, ...]:
    expires = "" if item.expires is None else item.expires.isoformat()
    if item.expires is not None and item.expires < today:
        expires = tr("{day}: expired", day=expires)
    again = "" if item.ready_again_minutes is None else tr(", again in {n:g} minutes", n=item.ready_again_minutes)
    return (
        thing_words(item.thing),
        str(item.count),
        "" if item.size_mm is None else f"{item.size_mm:g}",
        expires,
        item.lot or "",
        tr("yes") + again if item.reusable else tr("no"),
    )


def _whence(source: From) -> tuple[str, ...]:
    told = {
        "option": tr("From the file that the program was started with; it goes before what is kept here."),
        "settings": "",
        "then": "",
        "file": tr("From the file in the program's data folder; what is kept here goes before it."),
        "demo": tr("The invented shelf of the demo, until one is kept here. Nobody has it."),
        "nowhere": tr("No shelf is kept: plans take everything as available, and say so."),
    }[source]
    return (told,) if told else ()


def _table(title: str, columns: Iterable[str], rows: list[tuple[str, ...]]) -> Rows | None:
    words = labels() | column_words()
    caption = tr("{what}: what there is", what=title)
    return Rows(caption, tuple(words[c] for c in columns), tuple(rows)) if rows else None


def _pairs(title: str, record: Record | None) -> Rows | None:
    """The fields of a part in words; what is not stated says so."""
    if record is None:
        return None
    names = tuple(type(record).model_fields)
    rows = tuple(zip((labels()[n] for n in names), _chosen(record, names), strict=True))
    return Rows(tr("{what}: what there is", what=title), (tr("What"), tr("Is")), rows)


def _chosen(record: Record, names: Iterable[str]) -> tuple[str, ...]:
    told = []
    for name in names:
        value = getattr(record, name)
        if value is None:
            told.append(tr("not stated"))
        elif name == "language":
            told.append(NAMES.get(value, value))
        elif isinstance(value, tuple):
            told.append(", ".join(choice_words(name, one) for one in value) or tr("none"))
        else:
            told.append(choice_words(name, value))
    return tuple(told)


def _import_form() -> Form:
    hint = tr("Settings, a shelf of lenses or a shelf of devices (TOML). Parts that it names are replaced as a whole.")
    return Form(
        "take-in",
        tr("Take in a file"),
        f"{HOME}/import",
        (FieldOfForm("file", tr("File"), kind="file", hint=hint),),
        (Button(tr("Take it in")),),
    )


def _history(changes: list[Change], names: Mapping[str, str]) -> Iterable[Rows]:
    titles = page_titles() | {"devices": tr("Device shelf and drugs")}
    columns = (tr("Change"), tr("When (UTC)"), tr("Who"), tr("Device"), tr("What"))
    if changes:
        yield Rows(
            tr("The last {count} changes; nothing is overwritten", count=CHANGES_SHOWN),
            columns,
            tuple(
                (
                    str(row.number),
                    row.at[:19].replace("T", " "),
                    names.get(row.author, row.author),
                    row.device,
                    titles.get(row.part, row.part),
                )
                for row in changes
            ),
            addresses=tuple(f"{HOME}?at={row.number}" for row in changes),
        )
