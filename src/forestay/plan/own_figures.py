"""The practice's own lens constants put on its shelf, drawn towards those of the box, with what they weigh."""

from __future__ import annotations

from forestay.evidence import Reader
from forestay.eye.lens_shelf import LensShelf, ShelfConstant, ShelfLens
from forestay.optics import own_constant
from forestay.optics.own_constant import BetweenSurgeons
from forestay.plan.context import OwnLens
from forestay.text import tr


def own_shelf(
    shelf: LensShelf, lenses: tuple[OwnLens, ...], *, formula: str, method: str, use: Reader
) -> tuple[LensShelf, tuple[str, ...]]:
    """The shelf with the constant of each lens that this formula and length method have own eyes of, and what is said.

    Own eyes with a lens that is not on it, or with any where the shelf is an invented one, are told and move nothing.
    """
    if shelf.invented or not lenses:
        return shelf, own_alone(lenses, formula=formula, method=method)
    mine = {o.lens: o for o in lenses if o.formula == formula and o.method == method}
    models, says = [], []
    for lens in shelf.lens:
        own, box = mine.get(lens.name), lens.constant_for(method, "bag")
        if own is None or box is None or box.method != method:
            models.append(lens)
            continue
        model, told = _drawn(lens, box, own, use)
        models.append(model)
        says.append(told)
    there = {lens.name for lens in shelf.lens}
    others = tuple(o for o in lenses if o.lens not in there)
    return shelf.model_copy(update={"lens": tuple(models)}), (
        *says,
        *own_alone(others, formula=formula, method=method),
    )


def own_alone(lenses: tuple[OwnLens, ...], *, formula: str, method: str) -> tuple[str, ...]:
    """Own eyes with lenses that no shelf holds: what they ask for, which moves no power here."""
    return tuple(
        tr(
            "{n} own eyes with {lens} by {formula} ask for A {own:.2f}; it is not on the shelf, and moves no power here.",
            n=o.n,
            lens=o.lens,
            formula=o.formula,
            own=o.a,
        )
        for o in lenses
        if o.formula == formula and o.method == method
    )


def _drawn(lens: ShelfLens, box: ShelfConstant, own: OwnLens, use: Reader) -> tuple[ShelfLens, str]:
    found = own_constant.drawn(
        box_a=box.a, own_a=own.a, n=own.n, sd_d=own.sd_d, constants=use.constants(BetweenSurgeons)
    )
    drawn = box.model_copy(update={"a": found.a})
    told = tr(
        "{n} own eyes with {lens} by {formula} ask for A {own:.2f}, the box says {box:.2f}; the own eyes weigh"
        " {weight:.0%}, and its powers here use A {used:.2f}.",
        n=own.n,
        lens=own.lens,
        formula=own.formula,
        own=own.a,
        box=box.a,
        weight=found.weight,
        used=found.a,
    )
    others = tuple(c for c in lens.constants if c is not box)
    return lens.model_copy(update={"constants": (drawn, *others)}), told
