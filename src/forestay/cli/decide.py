"""``forestay decide``: a choice about a kept case, with its reason and what was turned down."""

from __future__ import annotations

import json
from contextlib import closing
from typing import Annotated, Any

import typer

from forestay.cli.exchange import Db


def register(app: typer.Typer) -> None:
    """Add the command to ``app``."""
    app.command("decide")(decide)


def decide(
    case_id: Annotated[str, typer.Argument(metavar="CASE-ID", help="A kept case.")],
    subject: Annotated[
        str,
        typer.Argument(
            metavar="SUBJECT",
            help="What is decided: technique, ring, capsulorhexis_mm, take_over, hand_back ..., a field, or any matter.",
        ),
    ],
    choice: Annotated[str, typer.Argument(metavar="CHOICE", help="The choice: a word, a number, true or false.")],
    *,
    why: Annotated[str, typer.Option("--why", help="The reason, as it will stand in the record; no names.")],
    turned_down: Annotated[
        list[str] | None, typer.Option("--turned-down", help="What was turned down and why; as often as needed.")
    ] = None,
    by: Annotated[str, typer.Option("--by", help="Who decides: a pseudonym.")] = "desk",
    as_json: Annotated[bool, typer.Option("--json", help="Answer in JSON.")] = False,
    db: Db = None,
) -> None:
    """Keep a decision about a kept case, with its reason; the plan follows it."""
    from uuid import uuid4

    from forestay.case.fact import content
    from forestay.case.words import say
    from forestay.services import cases
    from forestay.text import tr

    with closing(cases.open_store(db)) as store:
        kept = cases.decide(
            store,
            case_id,
            {subject: _read(choice)},
            reason=why,
            key=uuid4(),
            who=cases.Who(author=by, device="command"),
            turned_down=tuple(turned_down or ()),
        )
    words = say(content(kept[0]))
    if as_json:
        told = {"case": case_id, "fact": str(kept[0].header.id), "words": words}
        typer.echo(json.dumps(told, indent=2, ensure_ascii=False))
    else:
        typer.echo(tr("{case}: decided: {what}", case=case_id, what=words))


def _read(text: str) -> Any:
    """A number, true or false where the text is one; else the word itself."""
    try:
        value = json.loads(text)
    except ValueError:
        return text
    return value if isinstance(value, bool | int | float) else text
