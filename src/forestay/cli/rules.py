"""``forestay rules``: looks the rules of the plan over, for who changes them."""

from __future__ import annotations

import json
import sys
from typing import Annotated

import typer

from forestay.text import tr

FAULT_STATUS = 1


def register(app: typer.Typer) -> None:
    """Add the commands about rules, and about where they turn a plan, to ``app``."""
    from forestay.cli import whatif

    app.command("rules")(rules)
    whatif.register(app)


def rules(as_json: Annotated[bool, typer.Option("--json", help="Answer in JSON.")] = False) -> None:
    """Check the rules of the plan: one that never holds, two that say the opposite, an order in a circle."""
    from dataclasses import asdict

    from forestay.plan.rulecheck import entries, faults

    found, count = faults(), sum(1 for _ in entries())
    if as_json:
        answer = {"rules": count, "faults": [asdict(f) for f in found]}
        sys.stdout.write(json.dumps(answer, indent=2, ensure_ascii=False) + "\n")
    else:
        for fault in found:
            typer.echo(f"{fault.kind}: {fault.where}: {fault.what}")
        if found:
            typer.echo(tr("{count} rules, {found} faults.", count=count, found=len(found)))
        else:
            typer.echo(tr("{count} rules, none unreachable, contradictory or in a circle.", count=count))
    if found:
        raise typer.Exit(FAULT_STATUS)
