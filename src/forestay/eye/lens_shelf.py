"""The practice's own lens models: kind, optic, material, powers in stock, constants. Data, read from a TOML file."""

from __future__ import annotations

import tomllib
from typing import Annotated, Literal

from pydantic import Field, model_validator

from forestay.errors import UnreadableFile
from forestay.eye.quantity import within
from forestay.eye.records import ConstantMethod
from forestay.eye.validation import validate
from forestay.record import Record
from forestay.text import tr

ShelfKind = Literal[
    "one-piece-soft", "three-piece", "one-piece-rigid", "iris-claw", "angle-supported", "scleral-haptic"
]
Material = Literal["pmma", "silicone", "acrylic-hydrophobic", "acrylic-hydrophilic"]


class ShelfConstant(Record):
    """A lens constant with the length method that it belongs to."""

    a: Annotated[float, within("a")]
    method: ConstantMethod = Field(description="length method that the constant belongs to")
    place: Literal["retropupillary-iris", "prepupillary-iris"] | None = Field(
        default=None, description="for a claw lens: the place that the constant belongs to"
    )


class Stock(Record):
    """Boxes of one power."""

    power_d: Annotated[float, within("power_d")]
    boxes: Annotated[int, Field(ge=0, description="boxes on the shelf; 0: none left")] = 1


class StockRange(Record):
    """Powers that are always there, from one to another in equal steps."""

    from_d: Annotated[float, within("power_d")]
    to_d: Annotated[float, within("power_d")]
    step_d: Annotated[float, within("step_d")]

    @model_validator(mode="after")
    def _rises(self) -> StockRange:
        if self.to_d < self.from_d:
            raise ValueError(tr("to_d must not be less than from_d"))
        return self

    @property
    def powers_d(self) -> tuple[float, ...]:
        """Every power of the range [D]."""
        count = round((self.to_d - self.from_d) / self.step_d)
        return tuple(round(self.from_d + k * self.step_d, 6) for k in range(count + 1))


class ShelfLens(Record):
    """One model of lens as the practice keeps it."""

    name: Annotated[str, Field(min_length=1, max_length=60, description="the practice's own name for the model")]
    kind: Annotated[ShelfKind, Field(description="kind of lens: decides where it may lie")]
    material: Annotated[Material, Field(description="material of the optic")]
    optic_mm: Annotated[float, within("optic_mm")]
    constants: Annotated[
        tuple[ShelfConstant, ...], Field(strict=False, min_length=1, description="lens constants by length method")
    ]
    ranges: Annotated[tuple[StockRange, ...], Field(strict=False, description="powers that are always there")] = ()
    stock: Annotated[tuple[Stock, ...], Field(strict=False, description="single powers, counted")] = ()
    toric: Annotated[bool, Field(description="the model has a cylinder")] = False
    cylinders_d: Annotated[
        tuple[Annotated[float, within("lens_cylinder_d")], ...],
        Field(
            strict=False, description="for a toric model: cylinders, in the lens's plane, that each power is kept in"
        ),
    ] = ()

    articles: Annotated[
        tuple[Annotated[str, Field(pattern=r"^[0-9]{14}$")], ...],
        Field(
            strict=False, description="article numbers (GTIN, 14 digits) on the boxes of this model, for the scanner"
        ),
    ] = ()

    @model_validator(mode="after")
    def _cylinders(self) -> ShelfLens:
        if self.toric is not bool(self.cylinders_d):
            raise ValueError(tr("cylinders_d belongs to a toric model, and a toric model needs it"))
        return self

    @property
    def powers_d(self) -> tuple[float, ...]:
        """Powers that can be had today [D], rising; a power counted as 0 boxes is not there."""
        counted = {s.power_d: s.boxes for s in self.stock}
        kept = {p for r in self.ranges for p in r.powers_d if counted.get(p, 1) > 0}
        return tuple(sorted(kept | {p for p, boxes in counted.items() if boxes > 0}))

    def boxes(self, power_d: float) -> int | None:
        """Boxes of a power; None where they are not counted."""
        return next((s.boxes for s in self.stock if s.power_d == power_d), None)

    def constant_for(self, method: str | None, position: str) -> ShelfConstant | None:
        """The constant of that length method, else the first for the place; whoever asks compares its method.

        A claw lens has one constant behind the iris and another before it; without that of the place there is none.
        """
        fit = [c for c in self.constants if self.kind != "iris-claw" or c.place == position]
        return next((c for c in fit if c.method == method), fit[0] if fit else None)


class LensShelf(Record):
    """All models of a practice."""

    invented: Annotated[bool, Field(description="an example, not a real shelf")] = False
    lens: Annotated[tuple[ShelfLens, ...], Field(strict=False, description="the models")] = ()

    @model_validator(mode="after")
    def _names_once(self) -> LensShelf:
        names = [lens.name for lens in self.lens]
        if len(set(names)) < len(names):
            raise ValueError(tr("each model needs a name of its own"))
        articles = [article for lens in self.lens for article in lens.articles]
        if len(set(articles)) < len(articles):
            raise ValueError(tr("an article number belongs to one model"))
        return self


def read_lens_shelf(data: bytes, name: str) -> LensShelf:
    """The shelf in a TOML file; a file that is none is one clear error."""
    try:
        raw = tomllib.loads(data.decode("utf-8-sig"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as wrong:
        raise UnreadableFile(
            tr("{name} is not a lens shelf in TOML: {why}.", name=name, why=str(wrong).splitlines()[0]),
            field="shelf",
            value=name,
            allowed=tr("a TOML file of [[lens]] tables"),
        ) from None
    return validate(LensShelf, raw)
