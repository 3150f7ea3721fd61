"""Arithmetic of preparing a drug: strengths, dilution, dose."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from forestay.errors import InvalidInput
from forestay.text import tr

MG_PER_G = 1000


@dataclass(frozen=True, slots=True)
class Prepared:
    """A preparation: its strength [mg/ml], volume [ml] and the dose given [mg]."""

    final_mg_per_ml: Any
    total_ml: Any
    dose_mg: Any


def strength_from_percent(percent: ArrayLike, *, mg_per_ml_in_one_percent: float) -> Any:
    """Strength [mg/ml] of a solution in per cent [g in 100 ml].

    >>> strength_from_percent(2.0, mg_per_ml_in_one_percent=10)
    20.0
    """
    return _plain(np.asarray(percent, dtype=float) * mg_per_ml_in_one_percent)


def strength_from_ratio(parts: ArrayLike) -> Any:
    """Strength [mg/ml] of a solution written 1 : parts (1 g in ``parts`` ml).

    >>> strength_from_ratio(1000)
    1.0
    """
    return _plain(MG_PER_G / np.asarray(parts, dtype=float))


def dilute(*, stock_mg_per_ml: ArrayLike, stock_ml: ArrayLike, diluent_ml: ArrayLike, given_ml: ArrayLike) -> Prepared:
    """Strength and dose of a dilution: final = stock x v / (v + diluent); dose = final x given.

    Parameters: ``stock_mg_per_ml`` [mg/ml], ``stock_ml`` [ml taken], ``diluent_ml`` [ml added], ``given_ml`` [ml
    given]. Result [mg/ml, ml, mg]. Volumes are taken to add up: what a powder displaces must be in ``stock_ml``
    already. More given than prepared is refused.

    >>> dilute(stock_mg_per_ml=40, stock_ml=3, diluent_ml=13, given_ml=0.5).final_mg_per_ml
    7.5
    """
    stock = np.asarray(stock_ml, dtype=float)
    total = stock + np.asarray(diluent_ml, dtype=float)
    given = np.asarray(given_ml, dtype=float)
    if np.any(given > total):
        worst = np.unravel_index(np.argmax(given - total), np.broadcast_shapes(given.shape, total.shape))
        there = float(np.broadcast_to(total, np.broadcast_shapes(given.shape, total.shape))[worst])
        asked = float(np.broadcast_to(given, np.broadcast_shapes(given.shape, total.shape))[worst])
        raise InvalidInput(
            tr("given_ml is {asked:g} ml, but only {there:g} ml were prepared.", asked=asked, there=there),
            field="given_ml",
            value=asked,
            allowed=tr("at most {there:g} ml, the volume prepared", there=there),
        )
    final = np.asarray(stock_mg_per_ml, dtype=float) * stock / total
    return Prepared(_plain(final), _plain(total), _plain(final * given))


def _plain(values: Any) -> Any:
    array = np.asarray(values, dtype=float)
    return float(array) if array.ndim == 0 else array
