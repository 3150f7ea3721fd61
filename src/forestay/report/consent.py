"""The patient's sheet on paper: large print, short words, one picture for each figure, sources in small print."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from forestay.draw.icons import icon_array
from forestay.plan.consent_figures import PEOPLE, ConsentSheet
from forestay.plan.make import caution
from forestay.report.day import set_pages
from forestay.report.words import moment_words
from forestay.text import language, tr


def consent_data(sheet: ConsentSheet, *, label: str, invented: bool, made_at: datetime) -> dict[str, Any]:
    """Everything on the pages, as plain JSON: every word is ready here."""
    return {
        "language": language(),
        "title": tr("Your eye operation"),
        "case": label,
        "invented": tr("invented scenario") if invented else "",
        "side": sheet.side,
        "made": tr("made {moment}", moment=moment_words(made_at)),
        "caution": caution(),
        "intro": [
            tr("This sheet is about your {side}.", side=sheet.side),
            tr("The lens in your eye is cloudy. We take it out. We put in a clear new lens."),
            sheet.technique,
            tr("The plan may change while we work. We do what is safest for your eye."),
        ],
        "special": list(sheet.special),
        "how": [
            tr("Each square is one person. There are {n:,d} squares.", n=PEOPLE),
            tr(
                "Filled: it happens to this person. Thick edge: it may happen, we are less sure. Thin: it does not happen."
            ),
            tr("Do not add the numbers. One person may have more than one."),
            tr("Nobody can know what will happen to you."),
        ],
        "figures": [
            {
                "what": f.what,
                "says": f.says,
                "range": f.range_says,
                "then": f.then,
                "own": f.whose,
                "more": list(f.more),
                "icons": icon_array(
                    count=f.count, high=f.high, total=PEOPLE, name=f"people-{f.key}", says=f"{f.what} {f.says}"
                ),
                "alt": f"{f.what} {f.says}",
                "source": f"{n}. {f.source}",
                "n": n,
            }
            for n, f in enumerate(sheet.figures, start=1)
        ],
        "warnings": list(sheet.warnings),
        "labels": {
            "name": tr("Your name:"),
            "special": tr("What is special in your eye"),
            "may": tr("What may happen"),
            "call": tr("After the operation, call us on the same day if you have:"),
            "phone": tr("Phone:"),
            "choice": tr("It is your choice"),
            "no": tr(
                "You can say no. You can ask for more time. Without the operation your sight will not get better."
            ),
            "glasses": tr("You may need glasses after the operation."),
            "ask": tr("What I want to ask:"),
            "who": tr("Who will operate:"),
            "sign": tr("Name, date, signature:"),
            "sources": tr("Where the numbers come from"),
            "page": tr("page {x} of {y}"),
        },
    }


def consent_pdf(sheet: ConsentSheet, *, label: str, invented: bool, made_at: datetime) -> bytes:
    """The patient's sheet as PDF, A4, black on white; the same sheet and time give the same bytes."""
    return set_pages("consent.typ", consent_data(sheet, label=label, invented=invented, made_at=made_at), made_at)


def readable_consent(sheet: ConsentSheet) -> str:
    """The sheet as text."""
    data = consent_data(sheet, label="", invented=False, made_at=datetime.now().astimezone())
    t = data["labels"]
    lines = [
        *data["intro"],
        "",
        t["special"] + ":",
        *(f"- {s}" for s in data["special"]),
        "",
        t["may"] + ":",
        *data["how"][2:],
    ]
    for f in data["figures"]:
        lines += [
            "",
            f"{f['n']}. {f['what']}",
            f"   {f['says']} {f['range']} {f['own']}.",
            *(f"   {m}" for m in f["more"]),
            f"   {f['then']}",
        ]
    lines += ["", t["choice"] + ".", t["no"], t["glasses"], "", t["call"], *(f"- {w}" for w in data["warnings"])]
    lines += ["", t["sources"] + ":", *(f["source"] for f in data["figures"]), "", data["caution"]]
    return "\n".join(lines)
