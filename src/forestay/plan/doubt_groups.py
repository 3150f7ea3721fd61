"""Doubts about the evidence in groups: what decides here first, then what this plan shows, then the rest by topic.

A doubt belongs to the first group that holds one of its rows. Doubts about this eye stand before all of them.
"""

from __future__ import annotations

from collections.abc import Sequence

from forestay.answer import Doubt
from forestay.evidence import Reader
from forestay.evidence.loader import DOUBTFUL
from forestay.plan.model import DoubtGroup, Margin, Option
from forestay.plan.model_risk import Risk
from forestay.text import mark, tr

DECIDING = ("act", "need", "rank")
"""First words of the rows by which the plan itself decides and ranks."""
LEADING_COUNT = 2
"""Options whose short margins decide: the one that comes first, and the one it is argued against."""
TOPICS: dict[str, tuple[str, tuple[str, ...]]] = {
    "zonule": (
        mark("zonule, bag and what holds it"),
        (
            *(
                "zonule",
                "zonule_signs",
                "bag",
                "bag_hold",
                "load",
                "manoeuvre",
                "fibres",
                "unzip",
                "open_ring",
                "support",
            ),
            *("rim", "rim_hold", "rim_strength", "relaxing_cuts"),
        ),
    ),
    "passage": (
        mark("nucleus, pupil and the openings"),
        (
            *("nucleus", "chamber", "capsulorhexis", "flap", "passage", "tunnel", "sealing", "pocket", "pupil"),
            *("expander", "ports", "size", "spread"),
        ),
    ),
    "lens": (
        mark("lens and refraction"),
        (
            *(
                "lens_power",
                "lens_error",
                "lens_bias",
                "lens_position",
                "lens_series",
                "lens_shape",
                "lens_shift",
                "lens_policy",
            ),
            *("thick_eye", "schematic_eye", "srk_2_jump", "own_constant", "two_eyes", "two_lengths", "ultrasound"),
            *("second_eye", "incision", "toric"),
        ),
    ),
    "risks": (
        mark("complications and cornea"),
        ("complication", "corneal", "endothelium", "series", "series_bound", "series_share", "own_record", "audit"),
    ),
    "drugs": (mark("drugs"), ("drug", "anaesthetic")),
    "rest": (
        mark("plausible ranges, times and the plan itself"),
        ("plausible", "act", "need", "rank", "cue", "band", "time", "duration", "followup"),
    ),
}
"""Topics: label, and the first words of their rows' keys."""


def topic_of(key: str) -> str:
    """The topic of a row; of one that no topic names, the last."""
    first = key.partition(".")[0]
    return next((name for name, (_, words) in TOPICS.items() if first in words), "rest")


def count_shown(use: Reader, options: Sequence[Option]) -> None:
    """Count the rows behind every margin and risk that is shown as used by the plan, whichever reader had read them."""
    for option in options:
        for key in sorted(_rows([*option.margins, *option.risks])):
            use.row(key)


def grouped(use: Reader, options: Sequence[Option]) -> tuple[DoubtGroup, ...]:
    """Every doubt about the evidence that this plan used, each once; groups without any are left out.

    ``options`` with the first and the one it is argued against before the others: rows behind short margins of these two
    decide, and rows by which the plan decides and ranks, but for those that only rules compare with that do not hold here;
    after them come those behind all other margins and risks of the first. What more short margins rest on is told first.
    """
    behind: dict[Doubt, list[str]] = {}
    for row in use.used:
        if row.standing in DOUBTFUL and row.doubt:
            code = "from-memory" if row.standing == "memory" else row.standing
            behind.setdefault(Doubt(code, row.doubt), []).append(row.key)
    able = [o for o in options if o.measures is not None]
    short = [m for o in able[:LEADING_COUNT] for m in o.margins if m.margin < 0]
    shown: list[Margin | Risk] = [*able[0].margins, *able[0].risks] if able else []
    deciding = _rows(short) | {
        key for keys in behind.values() for key in keys if key.partition(".")[0] in DECIDING and not use.idle(key)
    }
    first = {d for d, keys in behind.items() if deciding.intersection(keys)}
    behind_short, seen = [_rows([m]) for m in short], _rows(shown)
    moved = {d: sum(bool(rows.intersection(keys)) for rows in behind_short) for d, keys in behind.items()}
    second = {d for d, keys in behind.items() if d not in first and seen.intersection(keys)}
    rest = [d for d in behind if d not in first and d not in second]
    topics = {name: tuple(d for d in rest if topic_of(behind[d][0]) == name) for name in TOPICS}
    groups = (
        DoubtGroup("decides", tr("Behind what is short or decides here"), _sorted(first, behind, moved)),
        DoubtGroup("shown", tr("Behind the other margins and risks shown"), tuple(d for d in behind if d in second)),
        *(
            DoubtGroup(name, tr("Elsewhere: {topic}", topic=tr(TOPICS[name][0])), doubts)
            for name, doubts in topics.items()
        ),
    )
    return tuple(group for group in groups if group.doubts)


def _sorted(first: set[Doubt], behind: dict[Doubt, list[str]], moved: dict[Doubt, int]) -> tuple[Doubt, ...]:
    """What more short margins rest on comes first, then in the order in which the plan came upon it."""
    return tuple(sorted((d for d in behind if d in first), key=lambda d: -moved[d]))


def _rows(shown: Sequence[Margin | Risk]) -> set[str]:
    """Keys of the rows that these numbers came from."""
    return {key for one in shown for source in one.origin.sources for key in source["rows"]}
