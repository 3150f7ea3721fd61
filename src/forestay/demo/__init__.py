"""Five invented cases, for the demo practice and for examples. Nobody has these eyes."""

from __future__ import annotations

from importlib.resources import files

NAMES: tuple[str, ...] = (
    "brown-pseudoexfoliation",
    "trauma-gap",
    "white-swollen",
    "hard-poor-endothelium",
    "long-vitrectomised-only-eye",
)


def demo_bytes(name: str) -> bytes:
    """The case file of an invented case, as bytes."""
    return files("forestay.demo").joinpath(f"{name}.toml").read_bytes()


def devices_bytes() -> bytes:
    """The invented shelf of devices, drugs and consumables, as bytes."""
    return files("forestay.demo").joinpath("shelf", "devices.toml").read_bytes()


def demo_lens_shelf_bytes() -> bytes:
    """The invented lens shelf of the demo practice, as bytes."""
    return files("forestay.demo").joinpath("shelf", "lenses.toml").read_bytes()


OPERATED = "brown-pseudoexfoliation"
"""The invented eye of which there is also an invented operation."""


def operated_bytes() -> bytes:
    """How the operation on the invented eye :data:`OPERATED` went, as bytes."""
    return files("forestay.demo").joinpath("operated", f"{OPERATED}.toml").read_bytes()
