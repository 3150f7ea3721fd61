"""The small forms in which settings are changed. ``typed``: what stands in the fields after something was refused."""

from __future__ import annotations

from collections.abc import Mapping
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from forestay.calc.zonule_input import EDITABLE
from forestay.eye.lens_shelf import ShelfLens
from forestay.plan.device_shelf import drugs, things
from forestay.plan.practice_settings import House, Shown, Surgeon
from forestay.record import Record
from forestay.text import NAMES, languages, tr
from forestay.web.forms import Sent
from forestay.web.views.forms_page import Button, Choice, FieldOfForm, Form
from forestay.web.views.settings_words import choice_words, labels, sign_words, thing_words

HOME = "/settings"
KEEP, REMOVE = "keep", "remove"
NOT_NEEDED = (
    "ranges",
    "stock",
    "cylinders",
    "articles",
    "size_mm",
    "expires",
    "lot",
    "ready_again_minutes",
    "low",
    "high",
)


def hints() -> dict[str, str]:
    """What may stand in a field, below it."""
    return {
        "techniques": tr("Nothing ticked: not stated; a plan then considers all of them and says so."),
        "anaesthesia": tr("Nothing ticked: not stated; a plan then considers all of them and says so."),
        "constants": tr("As 118.6 optical. Methods: optical, ultrasound-immersion, ultrasound-contact, ultrasound."),
        "ranges": tr("As 10 to 30 by 0.5: from, to, step."),
        "stock": tr("As 21.5: 2, a power and its boxes; 0 boxes: none left of a range."),
        "cylinders": tr("In the lens's plane, as 1.5 2.25 3; empty for a model that is not toric."),
        "articles": tr("14 digits each, for the scanner."),
        "language": tr("Of a page where the reader asks for none."),
        "ratio": tr("How much more often it is seen where the zonule is weak than where it is sound; 1 says nothing."),
        "corneal_power": tr("Kept and reckoned in dioptres of index 1.3375, whatever is typed."),
        "pressure": tr("Kept and reckoned in mmHg, whatever is typed."),
    }


def choices_of(record: type[Record], name: str) -> tuple[str, ...]:
    """The words that a field of a record may take."""
    inner = _inner(record.model_fields[name].annotation)
    if get_origin(inner) is tuple:
        inner = _inner(get_args(inner)[0])
    return tuple(str(word) for word in get_args(inner)) if get_origin(inner) is Literal else ()


def _inner(annotation: Any) -> Any:
    while True:
        if get_origin(annotation) in (Union, UnionType):
            annotation = next(a for a in get_args(annotation) if a is not NoneType)
        elif get_origin(annotation) is Annotated:
            annotation = get_args(annotation)[0]
        else:
            return annotation


def surgeon_form(mark: str, typed: Sent) -> Form:
    """One who operates, or a new one."""
    fields = [_text("name", typed)] + [
        _one(Surgeon, name, typed, stated=False) for name in ("surgeon_grade", "seat", "dominant_hand")
    ]
    title = typed.texts.get("name") or tr("Somebody new")
    return _entry("surgeons", mark, title, fields)


def lens_form(mark: str, typed: Sent) -> Form:
    """One lens model, or a new one."""
    fields = [
        _text("name", typed),
        _one(ShelfLens, "kind", typed, stated=True),
        _one(ShelfLens, "material", typed, stated=True),
        *(_text(name, typed) for name in ("optic_mm",)),
        *(_text(name, typed, kind="lines") for name in ("constants", "ranges", "stock")),
        *(_text(name, typed) for name in ("cylinders", "articles")),
    ]
    return _entry("lenses", mark, typed.texts.get("name") or tr("A new model"), fields)


def item_form(page: str, mark: str, typed: Sent) -> Form:
    """One thing on the shelf, or a new one; ``page`` is devices or drugs."""
    offered = sorted((t for t in things() if (t in drugs()) is (page == "drugs")), key=thing_words)
    chosen = typed.texts.get("thing", "")
    choices = tuple(Choice(thing, thing_words(thing), thing == chosen) for thing in offered)
    fields = [
        FieldOfForm("thing", labels()["thing"], kind="select", choices=choices),
        *(_text(name, typed) for name in ("count", "size_mm")),
        _text("expires", typed, kind="date"),
        _text("lot", typed),
        FieldOfForm(
            "reusable",
            labels()["reusable"],
            kind="checkboxes",
            choices=(Choice("yes", tr("yes"), typed.texts.get("reusable") == "yes"),),
        ),
        _text("ready_again_minutes", typed),
    ]
    return _entry(page, mark, thing_words(chosen) if chosen else tr("A new one"), fields)


def sign_form(mark: str, typed: Sent) -> Form:
    """What one sign weighs here, or a further one."""
    chosen = typed.texts.get("sign", "")
    choices = tuple(Choice(sign, sign_words(sign), sign == chosen) for sign in EDITABLE)
    fields = [
        FieldOfForm("sign", labels()["sign"], kind="select", choices=choices),
        *(_text(name, typed) for name in ("ratio", "low", "high")),
    ]
    return _entry("signs", mark, sign_words(chosen) if chosen else tr("Another sign"), fields)


def house_form(seen: int, typed: Sent) -> Form:
    """What can be done here."""
    known = typed.texts.get("has_known", "")
    stated = (
        Choice("", tr("not stated: taken as available"), known != "yes"),
        Choice("yes", tr("what is ticked below, and nothing else"), known == "yes"),
    )
    fields = (
        _several(House, "techniques", typed),
        _several(House, "anaesthesia", typed),
        FieldOfForm("has_known", tr("What the theatre has"), kind="select", choices=stated, needed=False),
        _several(House, "has", typed),
        _one(House, "retina_service", typed, stated=False),
        _seen(seen),
    )
    return Form("theatre", tr("What can be done here"), f"{HOME}/theatre", fields, (Button(tr("Keep")),))


def shown_form(seen: int, typed: Sent) -> Form:
    """Units and language."""
    chosen = typed.texts.get("language", "")
    tongues = tuple(Choice(tag, NAMES.get(tag, tag), tag == chosen) for tag in languages())
    fields = (
        _one(Shown, "corneal_power", typed, stated=True),
        _one(Shown, "pressure", typed, stated=True),
        FieldOfForm(
            "language",
            labels()["language"],
            kind="select",
            choices=(Choice("", tr("as the program was started"), not chosen), *tongues),
            hint=hints()["language"],
            needed=False,
        ),
        _seen(seen),
    )
    return Form("shown", tr("How the forms ask"), f"{HOME}/shown", fields, (Button(tr("Keep")),))


def _entry(page: str, mark: str, title: str, fields: list[FieldOfForm]) -> Form:
    buttons = [Button(tr("Keep"), "do", KEEP)]
    if mark != "new":
        buttons.append(Button(tr("Remove"), "do", REMOVE))
    return Form(f"{page}-{mark}", title, f"{HOME}/{page}/{mark}", tuple(fields), tuple(buttons))


def _seen(number: int) -> FieldOfForm:
    return FieldOfForm("based_on", "", kind="hidden", value=str(number))


def _text(name: str, typed: Sent, *, kind: str = "text") -> FieldOfForm:
    return FieldOfForm(
        name,
        labels()[name],
        kind=kind,
        value=typed.texts.get(name, ""),
        hint=hints().get(name, ""),
        needed=name not in NOT_NEEDED,
    )


def _one(record: type[Record], name: str, typed: Sent, *, stated: bool) -> FieldOfForm:
    chosen = typed.texts.get(name, "")
    nothing = () if stated else (Choice("", tr("not stated"), not chosen),)
    choices = tuple(Choice(o, choice_words(name, o), o == chosen) for o in choices_of(record, name))
    hint = hints().get(name, "")
    return FieldOfForm(name, labels()[name], kind="select", choices=(*nothing, *choices), hint=hint, needed=stated)


def _several(record: type[Record], name: str, typed: Sent) -> FieldOfForm:
    ticked = typed.several.get(name, [])
    choices = tuple(Choice(o, choice_words(name, o), o in ticked) for o in choices_of(record, name))
    return FieldOfForm(
        name, labels()[name], kind="checkboxes", choices=choices, hint=hints().get(name, ""), needed=False
    )


def record_typed(record: Record | None) -> Sent:
    """What is kept, as it stands in the fields."""
    told: Mapping[str, Any] = {} if record is None else record.model_dump(mode="json", exclude_none=True)
    texts = {name: value for name, value in told.items() if isinstance(value, str)}
    several = {name: list(value) for name, value in told.items() if isinstance(value, list)}
    if isinstance(record, House) and record.has is not None:
        texts["has_known"] = "yes"
    return Sent(texts, several)
