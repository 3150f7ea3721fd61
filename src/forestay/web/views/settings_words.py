"""What the settings are called. Tables only."""

from __future__ import annotations

from forestay.calc.day_records import thing_words
from forestay.calc.zonule_input import OwnRatio, sign_words
from forestay.text import tr
from forestay.web.views.entry_words import option_words

__all__ = ["choice_words", "column_words", "labels", "page_titles", "ratio_words", "sign_words", "thing_words"]


def page_titles() -> dict[str, str]:
    """Title of each page of settings."""
    return {
        "surgeons": tr("Who operates"),
        "theatre": tr("The theatre"),
        "shown": tr("Units and language"),
        "lenses": tr("Lens shelf"),
        "devices": tr("Device shelf"),
        "drugs": tr("Drugs"),
        "signs": tr("What signs of a weak zonule weigh"),
    }


def labels() -> dict[str, str]:
    """What each field is called."""
    return {
        "name": tr("Name"),
        "surgeon_grade": tr("Grade"),
        "seat": tr("Seat"),
        "dominant_hand": tr("Dominant hand"),
        "techniques": tr("Techniques"),
        "anaesthesia": tr("Anaesthesia"),
        "has": tr("There is"),
        "retina_service": tr("Retina service"),
        "corneal_power": tr("Corneal power is typed in"),
        "pressure": tr("Eye pressure is typed in"),
        "language": tr("Language"),
        "kind": tr("Kind"),
        "material": tr("Material"),
        "optic_mm": tr("Optic (mm)"),
        "constants": tr("Lens constants A, one a line"),
        "ranges": tr("Powers that are always there (D), one range a line"),
        "stock": tr("Single powers (D) and boxes, one a line"),
        "cylinders": tr("Cylinders of a toric model (D)"),
        "articles": tr("Article numbers on the boxes"),
        "thing": tr("What it is"),
        "count": tr("How many"),
        "size_mm": tr("Size (mm)"),
        "expires": tr("Last day of use"),
        "lot": tr("Lot"),
        "reusable": tr("Comes back after cleaning"),
        "ready_again_minutes": tr("Ready again after (minutes)"),
        "sign": tr("Sign"),
        "ratio": tr("Likelihood ratio"),
        "low": tr("Lowest that it may be"),
        "high": tr("Highest that it may be"),
    }


def column_words() -> dict[str, str]:
    """Shorter names, for the head of a table."""
    return {
        "constants": tr("Lens constants A"),
        "ranges": tr("Always there (D)"),
        "stock": tr("Single powers (D): boxes"),
        "cylinders": tr("Cylinders (D)"),
        "ships": tr("As it ships, an expert's"),
        "here": tr("In this practice"),
    }


def ratio_words(one: OwnRatio) -> str:
    """A likelihood ratio with its range."""
    if one.low is None or one.high is None:
        return f"{one.ratio:g}"
    return tr("{ratio:g} ({low:g} to {high:g})", ratio=one.ratio, low=one.low, high=one.high)


def _own() -> dict[str, str]:
    return {
        "one-piece-soft": tr("soft, one piece"),
        "three-piece": tr("three pieces"),
        "one-piece-rigid": tr("rigid, one piece"),
        "iris-claw": tr("iris claw"),
        "angle-supported": tr("angle-supported"),
        "scleral-haptic": tr("haptics for the sclera"),
        "pmma": tr("PMMA"),
        "silicone": tr("silicone"),
        "acrylic-hydrophobic": tr("acrylic, hydrophobic"),
        "acrylic-hydrophilic": tr("acrylic, hydrophilic"),
        "D": tr("dioptres"),
        "mm": tr("millimetres of radius"),
        "mmHg": "mmHg",
        "kPa": "kPa",
        "yes": tr("yes"),
    }


def choice_words(name: str, option: str) -> str:
    """What a choice of the field ``name`` is called."""
    own = _own().get(option)
    return own if own is not None else option_words(f"theatre.{name}", option)
