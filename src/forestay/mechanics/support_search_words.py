"""What can be said of each support in words, beside its measures."""

from __future__ import annotations

from dataclasses import replace

from forestay.mechanics.support_search_model import Kind, Question, Row
from forestay.mechanics.support_search_rank import measures
from forestay.text import tr


def explained(row: Row, rows: list[Row], yields: bool, question: Question) -> Row:
    """The same row with what can be said of it in words."""
    words: list[str] = []
    held = [r for r in rows if r.held]
    if row.held:
        words += _first_in(row, held)
    else:
        words += _lost(row, question)
    words += _against_nothing(row, _of_kind(rows, "none"))
    words += _of_ring_and_hooks(row, rows, question)
    if row.support.ring and question.whole_nucleus_by_hand:
        later = tr("a ring waits until the whole nucleus is out: before, it makes the delivery harder")
        now = tr("the bag gives way before the nucleus is out, with hooks too: the ring goes in now")
        words.append(now if yields else later)
    elif row.support.ring and row.ring_timing == "later":
        words.append(tr("with the lens in the bag a ring changes nothing in this model: later is kinder"))
    return replace(row, reasons=tuple(words))


def _first_in(row: Row, held: list[Row]) -> list[str]:
    """In which measures nothing does better; where no support does as well, nothing is said."""
    mine, others = measures(row), [measures(r) for r in held if r is not row]
    bare = [measures(r) for r in held if r.support.kind == "none"]
    sayings = (tr("centres the bag best"), tr("leaves the fibres most reserve"), tr("loads the neighbours least"))
    return [
        saying
        for k, saying in enumerate(sayings)
        if others and mine[k] <= min(m[k] for m in others) and not any(m[k] == mine[k] for m in bare)
    ]


def _of_kind(rows: list[Row], kind: Kind) -> Row | None:
    return next((r for r in rows if r.support.kind == kind), None)


def _lost(row: Row, question: Question) -> list[str]:
    """At which steps the bag is not held, and at which of them it is the ring that finds no rest."""
    rows = list(zip(question.steps, row.by_step, strict=True))
    lost = [(step.key, o.ring) for step, o in rows if not o.held and not step.left]
    left = any(not o.held for step, o in rows if step.left)
    escaped = [key for key, ring in lost if ring == "escaped"]
    others = [key for key, ring in lost if ring != "escaped"]
    return [
        *([tr("the bag is not held at: {steps}", steps=", ".join(others))] if others else []),
        *([tr("the ring finds no rest in the bag at: {steps}", steps=", ".join(escaped))] if escaped else []),
        *([tr("once all is done and its hooks are out the bag is not held")] if left and row.support.hooks else []),
        *([tr("once all is done the bag is not held")] if left and not row.support.hooks else []),
    ]


def _against_nothing(row: Row, nothing: Row | None) -> list[str]:
    if nothing is None or row is nothing or not row.held:
        return []
    if not nothing.held:
        return [tr("without support the bag is not held")]
    mine, bare = measures(row), measures(nothing)
    if mine[0] < bare[0] and mine[2] > bare[2]:
        return [tr("it recentres the bag and loads the neighbours more than no support does")]
    if mine == bare:
        return [tr("it changes nothing that this model shows")]
    return []


def _of_ring_and_hooks(row: Row, rows: list[Row], question: Question) -> list[str]:
    """What became of the ring, what its ends and its suture do, and what is left once hooks are out."""
    if not row.held:
        return []
    words = []
    slid = [step.key for step, o in zip(question.steps, row.by_step, strict=True) if o.ring == "slid"]
    if slid:
        words.append(tr("the ring turns out of its place at: {steps}", steps=", ".join(slid)))
    bare = _of_kind(rows, "none")
    off = measures(row)[0]
    if row.support.kind == "ring" and bare is not None and bare.held and off > measures(bare)[0]:
        words.append(tr("an open ring pushes hardest at its ends: they push the bag off centre"))
    if row.support.kind == "hooks":
        words.append(tr("its hooks come out again: the bag is left as without support"))
    elif row.support.kind == "ring-and-hooks":
        words.append(tr("its hooks come out again: the bag is left as with the ring alone"))
    elif row.support.hooks:
        words.append(tr("its hooks bridge the time until it is sutured in the empty bag, and come out again"))
    lens_in = [step.key for step in question.steps if not step.empty]
    if row.support.kind == "ring" and row.worst_step in lens_in:
        words.append(tr("its least reserve is at a step with the lens still in the bag, where a ring changes nothing"))
    return words + _of_suture(row)


def _of_suture(row: Row) -> list[str]:
    """What its knot does at the end."""
    knot = row.by_step[-1].knot
    if not row.support.segments and row.support.fixed_at is None:
        return []
    words = [tr("it is sutured to the sclera and stays in the eye")]
    if knot is None:
        return words
    if knot.state == "centred":
        words.append(tr("its knot draws {mm:.2f} mm until the bag is centred along it", mm=knot.pulled_mm))
    elif knot.state == "slack":
        words.append(tr("its knot draws nothing: the bag lies in the middle along it without"))
    else:
        words.append(tr("its knot draws {mm:.2f} mm, as far as it can, and does not centre the bag", mm=knot.pulled_mm))
    return words
