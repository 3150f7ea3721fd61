"""What a practice says of itself once, so that no case has to: who operates, what can be done, how numbers are typed.

Each record is one part of the settings; the two shelves are parts too. A settings file is a TOML file of them: see
:class:`SettingsFile`.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, field_validator, model_validator

from forestay.calc.zonule_input import EDITABLE, OwnRatio
from forestay.eye.lens_shelf import ShelfLens
from forestay.eye.records import Anaesthetic, Kit, Technique
from forestay.plan.device_shelf import ShelfItem
from forestay.record import Record
from forestay.text import languages, tr


class Surgeon(Record):
    """One who operates here. Goes into a new case without the name."""

    name: Annotated[str, Field(min_length=1, max_length=60, description="name as shown on screen; in no fact")]
    surgeon_grade: Literal["consultant", "independent", "senior-trainee", "junior-trainee"] | None = Field(
        default=None, description="grade of the surgeon"
    )
    seat: Literal["superior", "temporal"] | None = Field(default=None, description="where the surgeon sits")
    dominant_hand: Literal["right", "left"] | None = Field(default=None, description="the surgeon's dominant hand")

    def values(self) -> dict[str, Any]:
        """What of it goes into a new case, by field of the case file."""
        return _known(self, leaving=("name",))


class Surgeons(Record):
    """All who operate here; a new case takes the first unless another one is said."""

    surgeon: Annotated[tuple[Surgeon, ...], Field(strict=False, description="who operates here")] = ()

    @model_validator(mode="after")
    def _names_once(self) -> Surgeons:
        names = [one.name for one in self.surgeon]
        if len(set(names)) < len(names):
            raise ValueError(tr("each surgeon needs a name of their own"))
        return self


class House(Record):
    """What can be done in this theatre. What is not stated stays "not known" in a new case, and a doubt of its plan."""

    techniques: tuple[Technique, ...] | None = Field(
        default=None, strict=False, min_length=1, description="techniques that can be done here"
    )
    anaesthesia: tuple[Anaesthetic, ...] | None = Field(
        default=None, strict=False, min_length=1, description="anaesthetics that can be given here"
    )
    has: tuple[Kit, ...] | None = Field(default=None, strict=False, description="what the theatre has")
    retina_service: Literal["in-house", "same-day", "days", "none"] | None = Field(
        default=None, description="how near a vitreous surgeon is"
    )

    def values(self) -> dict[str, Any]:
        """What of it goes into a new case, by field of the case file."""
        return _known(self)


class SignRatio(OwnRatio):
    """What a sign of a weak zonule weighs in this practice, where no study has measured it."""

    @field_validator("sign")
    @classmethod
    def _without_study(cls, value: str) -> str:
        if value not in EDITABLE:
            raise ValueError(", ".join(EDITABLE))
        return value

    @model_validator(mode="after")
    def _rising(self) -> SignRatio:
        if (self.low is not None and self.low > self.ratio) or (self.high is not None and self.high < self.ratio):
            raise ValueError(tr("low, ratio and high in rising order"))
        return self


class OwnSigns(Record):
    """Likelihood ratios that this practice uses in the place of those that ship; each sign once."""

    sign: Annotated[tuple[SignRatio, ...], Field(strict=False, description="own likelihood ratios of signs")] = ()

    @model_validator(mode="after")
    def _signs_once(self) -> OwnSigns:
        signs = [one.sign for one in self.sign]
        if len(set(signs)) < len(signs):
            raise ValueError(tr("each sign once"))
        return self

    @property
    def ratios(self) -> tuple[OwnRatio, ...]:
        """As a plan takes them."""
        return tuple(OwnRatio(**one.model_dump()) for one in self.sign)


class Shown(Record):
    """How numbers are typed in the forms, and the language of a page where the reader asks for none."""

    corneal_power: Literal["D", "mm"] = Field(default="D", description="unit in which corneal power is typed")
    pressure: Literal["mmHg", "kPa"] = Field(default="mmHg", description="unit in which eye pressure is typed")
    language: str | None = Field(default=None, description="language of a page where the reader asks for none")

    @field_validator("language")
    @classmethod
    def _there(cls, value: str | None) -> str | None:
        if value is not None and value not in languages():
            raise ValueError(", ".join(languages()))
        return value


class SettingsFile(Record):
    """All that a settings file may say; what it does not name stays as it is kept."""

    surgeon: Annotated[tuple[Surgeon, ...] | None, Field(strict=False, description="who operates here")] = None
    theatre: Annotated[House | None, Field(description="what can be done in this theatre")] = None
    shown: Annotated[Shown | None, Field(description="units and language")] = None
    lens: Annotated[tuple[ShelfLens, ...] | None, Field(strict=False, description="the shelf of lenses")] = None
    item: Annotated[
        tuple[ShelfItem, ...] | None, Field(strict=False, description="the shelf of devices, drugs and consumables")
    ] = None
    sign: Annotated[
        tuple[SignRatio, ...] | None, Field(strict=False, description="own likelihood ratios of signs of a weak zonule")
    ] = None
    invented: Annotated[bool, Field(description="True of an example: nobody has these shelves")] = False


def _known(record: Record, leaving: tuple[str, ...] = ()) -> dict[str, Any]:
    told = record.model_dump(mode="json", exclude_none=True)
    return {f"theatre.{name}": value for name, value in told.items() if name not in leaving}
