"""What a practice brings to plans of many eyes, beside its facts: shelves, own figures, the day. Every worker reads it from one
file in the folder, named after what it says, so that a plan made elsewhere is that of the command."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from pydantic import TypeAdapter

from forestay.eye.lens_shelf import LensShelf
from forestay.plan.context import Context, Practice
from forestay.plan.device_shelf import DeviceShelf


@dataclass(frozen=True)
class Brought:
    """The parts of a context that are the practice's own; without any, a plan is made with what ships."""

    lenses: LensShelf | None = None
    devices: DeviceShelf | None = None
    practice: Practice = field(default_factory=Practice)
    settings: str = ""
    today: date | None = None


FORM: TypeAdapter[Brought] = TypeAdapter(Brought)
NOTHING = Brought()


def put_down(context: Context, folder: Path) -> str:
    """Write what this context brings into the folder; its name, empty where it brings nothing."""
    brought = Brought(context.lenses, context.devices, context.practice, context.settings, context.today)
    if brought == NOTHING:
        return ""
    text = FORM.dump_json(brought)
    name = hashlib.sha256(text).hexdigest()
    place = _place(folder, name)
    if not place.is_file():
        folder.mkdir(parents=True, exist_ok=True)
        draft = place.with_suffix(".draft")
        draft.write_bytes(text)
        draft.replace(place)
    return name


def taken_up(folder: Path, name: str) -> Context:
    """The context of a worker: what ships, with what stands in the folder under that name."""
    context = Context.default()
    if not name:
        return context
    brought = FORM.validate_json(_place(folder, name).read_bytes())
    return Context(
        evidence=context.evidence,
        draws=context.draws,
        practice=brought.practice,
        today=brought.today,
        devices=brought.devices,
        lenses=brought.lenses,
        settings=brought.settings,
    )


def _place(folder: Path, name: str) -> Path:
    return folder / f"practice-{name[:12]}.json"
