"""The ropes of a plan, with what each was before a look."""

from __future__ import annotations

from collections.abc import Callable

from markupsafe import Markup

from forestay.draw.chance import chance_words
from forestay.draw.controls import BY_NAME
from forestay.draw.palette import SCREEN
from forestay.draw.rope import amount_words, draw_rope, interval_words, rope_scales, state_words
from forestay.plan.model import Margin, Plan, Widen
from forestay.text import field_words, tr
from forestay.web.views.case import MarginRow, WidenLink

Address = Callable[[str, float | int | str], str]
SAME = 5e-4
"""Two margins that differ by less than this, in their unit, are shown as unchanged."""


def margin_rows(
    plan: Plan, before: Plan | None, address: Address
) -> tuple[tuple[MarginRow, ...], tuple[MarginRow, ...]]:
    """The absolute and the comparative margins. ``before`` is the plan as decided, where a look is shown."""
    earlier = {m.key: m for m in before.margins} if before else {}
    # A look keeps the scale of what is decided: a rope changes its length only because its margin changed.
    scales = {**rope_scales(plan.margins), **(rope_scales(before.margins) if before else {})}
    rows = {"main": [], "zonule": []}  # type: dict[str, list[MarginRow]]
    for margin in plan.margins:
        rows[margin.group].append(_row(margin, earlier.get(margin.key), scales[margin.unit, margin.scale], address))
    return tuple(rows["main"]), tuple(rows["zonule"])


def _row(margin: Margin, before: Margin | None, scale: float, address: Address) -> MarginRow:
    chance = chance_words(margin.probability) if margin.probability is not None else None
    return MarginRow(
        key=margin.key,
        step=margin.step,
        says=margin.says,
        rope=Markup(draw_rope(margin, palette=SCREEN, scale_mm=scale)),  # noqa: S704 - our own markup, escaped there
        chance=chance,
        margin=state_words(margin),
        spread=interval_words(margin) or None,
        before=_before(margin, before) if before else None,
        widen=_widen(margin.widen, margin, address) if margin.widen else None,
        rests_on=tuple(field_words(path) for path in margin.rests_on),
        origin=margin.origin,
        short=margin.margin < 0,
    )


def _before(margin: Margin, before: Margin) -> str | None:
    change = margin.margin - before.margin
    if abs(change) < SAME:
        return None
    if margin.scale == "comparative":
        return tr("more room than before") if change > 0 else tr("less room than before")
    return tr("was {state}", state=state_words(before))


def _widen(widen: Widen, margin: Margin, address: Address) -> WidenLink:
    words = widen.change
    if margin.scale == "absolute":
        words = tr("{change}: +{gain}", change=widen.change, gain=amount_words(widen.gain, margin.unit))
    if widen.control in BY_NAME and widen.value is not None:
        return WidenLink(words, address(str(widen.control), widen.value))
    return WidenLink(words, None)
