"""What stands on the trolley and in the syringes: kit with sizes against the shelf, drugs with their second check."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from forestay.evidence import Reader
from forestay.eye.filling import fill
from forestay.plan.device_shelf import DeviceShelf, stock
from forestay.plan.model import Stop
from forestay.plan.model_trolley import Dose, KitItem
from forestay.plan.ruleset import Rule, holding, ruleset
from forestay.text import tr

View = Mapping[str, Any]


def kit(view: View, use: Reader, shelf: DeviceShelf | None = None, on: date | None = None) -> dict[str, Any]:
    """What must be on the trolley, and which of it this theatre or its shelf does not have.

    ``missing`` True: the case file says that there is none, or the shelf has too few that may be used on the day.
    """
    items = tuple(_item(rule, view, use, shelf, on) for rule in holding("kit", "item", view, use))
    held = {"items": items, "missing": tuple(i.item for i in items if i.missing)}
    if shelf is None:
        return held
    says = tr("an invented example shelf") if shelf.invented else tr("the practice's own shelf")
    return held | {"shelf": says if on is None else tr("{shelf}, as of {day}", shelf=says, day=on.isoformat())}


def _item(rule: Rule, view: View, use: Reader, shelf: DeviceShelf | None, on: date | None) -> KitItem:
    has = view.get("theatre.has")
    needed = rule.data.get("has")
    missing = None if has is None or needed is None else needed not in has
    rule.cite(use)
    thing = rule.data.get("thing")
    count = int(rule.say("count", view, use)) if "count" in rule.data else 1
    size = float(rule.say("size_mm", view, use)) if "size_mm" in rule.data else None
    said = ""
    if shelf is not None and thing is not None:
        found = stock(shelf, thing=str(thing), count=count, size_mm=size, on=on)
        said = found.says
        missing = bool(missing) or not found.enough
    return KitItem(
        item=rule.say("item", view, use),
        why=rule.say("why", view, use),
        missing=missing,
        ready=rule.say("ready", view, use) if "ready" in rule.data else None,
        kind=str(rule.data["kind"]),
        thing=None if thing is None else str(thing),
        count=count,
        size_mm=size,
        shelf=said,
        standby=bool(rule.data.get("standby", False)),
        holds=tuple(tr(str(h)) for h in rule.data.get("holds", ())),
    )


def allergy_stops(view: View, use: Reader) -> tuple[Stop, ...]:
    """A stop for every drug of this plan to which the patient is recorded as allergic."""
    recorded = view.get("person.allergies") or ()
    return tuple(
        Stop(
            key=f"allergy-{rule.data['key']}",
            must_not=tr("give {drug}", drug=tr(str(rule.data["drug"]))),
            why=tr("allergy is recorded: {names}", names=", ".join(tr(a) for a in hit)),
            sources=rule.cite(use),
        )
        for rule in ruleset("doses")["dose"]
        if (hit := [a for a in rule.data.get("allergens", ()) if a in recorded]) and rule.holds(view, use)
    )


def doses(
    view: View,
    use: Reader,
    stopped: frozenset[str],
    shelf: DeviceShelf | None = None,
    on: date | None = None,
) -> tuple[Dose, ...]:
    """Drugs of this plan; one that a stop forbids is left out."""
    rows = []
    for rule in holding("doses", "dose", view, use):
        barred = {k.strip() for k in str(rule.data.get("unless_stop", "")).split(",")} | {f"allergy-{rule.data['key']}"}
        if barred & stopped:
            continue
        own = use.evidence.reader()
        rows.append(
            Dose(
                drug=tr(str(rule.data["drug"])),
                purpose=tr(str(rule.data["purpose"])),
                preparation=rule.say("preparation", view, own),
                dose=rule.say("dose", view, own),
                caution=rule.say("caution", view, own),
                sources=rule.cite(use),
                standing=_weakest(own),
                check=_check(rule, view, own),
                shelf=_on_shelf(rule, shelf, on),
                thing=None if "thing" not in rule.data else str(rule.data["thing"]),
                standby=bool(rule.data.get("standby", False)),
            )
        )
        use.merge(own)
    return tuple(rows)


def _check(rule: Rule, view: View, use: Reader) -> str:
    """What two people say over a prepared drug."""
    if "check" not in rule.data:
        return ""
    return tr(
        "One reads ampoule, strength and expiry aloud and reckons: {sum}. Another reads the ampoule and repeats. Label: "
        "drug, strength, time.",
        sum=fill(str(rule.data["check"]), view, use),
    )


def _on_shelf(rule: Rule, shelf: DeviceShelf | None, on: date | None) -> str:
    if shelf is None or "thing" not in rule.data:
        return ""
    return stock(shelf, thing=str(rule.data["thing"]), count=1, size_mm=None, on=on).says


def _weakest(use: Reader) -> str:
    """The weakest standing among the rows that a dose prints."""
    order = ("read", "derived", "common practice", "memory", "assumed")
    return max((r.standing for r in use.used), key=order.index, default="common practice")
