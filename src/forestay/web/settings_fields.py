"""Shelves as a few lines of text in a form, and back: constants, powers, cylinders, numbers of boxes."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from forestay.calc.zonule_input import OwnRatio
from forestay.errors import InvalidInput
from forestay.eye.lens_shelf import ShelfLens
from forestay.plan.device_shelf import ShelfItem
from forestay.text import tr
from forestay.web.forms import number

NUMBER = re.compile(r"[-+−]?\d+(?:[.,]\d+)?")
RANGE_NUMBERS, STOCK_NUMBERS, CONSTANT_WORDS = 3, 2, (2, 3)


def lens_texts(lens: ShelfLens) -> dict[str, str]:
    """The fields of a lens model as they stand in its form."""
    return {
        "name": lens.name,
        "kind": lens.kind,
        "material": lens.material,
        "optic_mm": f"{lens.optic_mm:g}",
        "constants": "\n".join(" ".join(filter(None, (f"{c.a:g}", c.method, c.place))) for c in lens.constants),
        "ranges": "\n".join(
            tr("{low:g} to {high:g} by {step:g}", low=r.from_d, high=r.to_d, step=r.step_d) for r in lens.ranges
        ),
        "stock": "\n".join(f"{s.power_d:g}: {s.boxes}" for s in lens.stock),
        "cylinders": " ".join(f"{c:g}" for c in lens.cylinders_d),
        "articles": " ".join(lens.articles),
    }


def lens_of(texts: Mapping[str, str]) -> dict[str, Any]:
    """What a form says of a lens model, in the keys of its record."""
    cylinders = _numbers("cylinders", texts.get("cylinders", ""))
    return {
        "name": texts.get("name", "").strip(),
        "kind": texts.get("kind", ""),
        "material": texts.get("material", ""),
        "optic_mm": number("optic_mm", texts.get("optic_mm", "")),
        "constants": [_constant(line) for line in _lines(texts, "constants")],
        "ranges": [
            dict(zip(("from_d", "to_d", "step_d"), _row("ranges", line, RANGE_NUMBERS), strict=True))
            for line in _lines(texts, "ranges")
        ],
        "stock": [_stock(line) for line in _lines(texts, "stock")],
        "toric": bool(cylinders),
        "cylinders_d": cylinders,
        "articles": texts.get("articles", "").split(),
    }


def item_texts(item: ShelfItem) -> dict[str, str]:
    """The fields of a thing on the shelf as they stand in its form."""
    return {
        "thing": item.thing,
        "count": str(item.count),
        "size_mm": "" if item.size_mm is None else f"{item.size_mm:g}",
        "expires": "" if item.expires is None else item.expires.isoformat(),
        "lot": item.lot or "",
        "reusable": "yes" if item.reusable else "",
        "ready_again_minutes": "" if item.ready_again_minutes is None else f"{item.ready_again_minutes:g}",
    }


def item_of(texts: Mapping[str, str]) -> dict[str, Any]:
    """What a form says of a thing on the shelf, in the keys of its record."""
    told: dict[str, Any] = {
        "thing": texts.get("thing", ""),
        "count": _whole("count", texts.get("count", "")),
        "expires": texts.get("expires", "").strip() or None,
        "lot": texts.get("lot", "").strip() or None,
        "reusable": texts.get("reusable") == "yes",
    }
    for name in ("size_mm", "ready_again_minutes"):
        told[name] = number(name, texts[name]) if texts.get(name, "").strip() else None
    return told


def sign_texts(one: OwnRatio) -> dict[str, str]:
    """The fields of a sign's own ratio as they stand in its form."""
    told = {name: getattr(one, name) for name in ("ratio", "low", "high")}
    return {"sign": one.sign} | {name: "" if value is None else f"{value:g}" for name, value in told.items()}


def sign_of(texts: Mapping[str, str]) -> dict[str, Any]:
    """What a form says of a sign, in the keys of its record; an end of the range may be left out."""
    told: dict[str, Any] = {"sign": texts.get("sign", ""), "ratio": number("ratio", texts.get("ratio", ""))}
    for name in ("low", "high"):
        told[name] = number(name, texts[name]) if texts.get(name, "").strip() else None
    return told


def _lines(texts: Mapping[str, str], name: str) -> list[str]:
    return [line.strip() for line in texts.get(name, "").splitlines() if line.strip()]


def _numbers(field: str, text: str) -> list[float]:
    return [number(field, found.replace("−", "-")) for found in NUMBER.findall(text)]


def _row(field: str, line: str, count: int) -> list[float]:
    """The numbers of a line: so many, whatever words stand between them."""
    found = _numbers(field, line)
    if len(found) != count:
        words = {
            "ranges": tr("three numbers a line: from, to, step, as 10 to 30 by 0.5"),
            "stock": tr("two numbers a line: power and boxes, as 21.5: 2"),
        }[field]
        raise InvalidInput(
            tr("{field} is {value!r}; allowed: {allowed}.", field=field, value=line[:40], allowed=words),
            field=field,
            value=line[:40],
            allowed=words,
        )
    return found


def _stock(line: str) -> dict[str, Any]:
    power, boxes = _row("stock", line, STOCK_NUMBERS)
    return {"power_d": power, "boxes": int(boxes) if boxes.is_integer() else boxes}


def _constant(line: str) -> dict[str, Any]:
    words = line.split()
    if len(words) not in CONSTANT_WORDS:
        allowed = tr("a constant and its length method a line, as 118.6 optical; of a claw lens also the place")
        raise InvalidInput(
            tr("{field} is {value!r}; allowed: {allowed}.", field="constants", value=line[:40], allowed=allowed),
            field="constants",
            value=line[:40],
            allowed=allowed,
        )
    told: dict[str, Any] = {"a": number("constants", words[0]), "method": words[1]}
    return told | ({"place": words[2]} if len(words) > CONSTANT_WORDS[0] else {})


def _whole(field: str, text: str) -> int:
    value = number(field, text)
    if not value.is_integer():
        raise InvalidInput(
            tr("{field} is {value}; allowed: a whole number.", field=field, value=f"{value:g}"),
            field=field,
            value=value,
            allowed=tr("a whole number"),
        )
    return int(value)
