"""One view in, one page out: a template sees the documented fields of its view and nothing else."""

from __future__ import annotations

import json
import re
from dataclasses import fields
from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.requests import Request
from starlette.responses import HTMLResponse

from forestay.errors import ForestayError
from forestay.services import actor as acting
from forestay.text import language, languages, tr, translation_doubt
from forestay.web.preferences import theme, theme_words
from forestay.web.views import words
from forestay.web.views.shell import View

POSTED = re.compile(r'(<form\b[^>]*\bmethod="post"[^>]*>)')
TEMPLATES = Path(__file__).parent / "templates"


class AssetsMissing(ForestayError):
    """The browser code was not built: a fault of the installation."""

    code = "assets-missing"
    http_status = 500


@cache
def manifest(static: Path) -> dict[str, str]:
    """Plain name -> name with its hash, as the packaging hook wrote it."""
    file = static / "built" / "manifest.json"
    if not file.is_file():
        raise AssetsMissing(
            tr("The browser code is not built; install the package again, or run the packaging hook."),
            field="static",
            allowed="manifest.json",
        )
    named: dict[str, str] = json.loads(file.read_text(encoding="utf-8"))
    return named


class Renderer:
    """Holds the templates; ``author`` keeps things where nobody signs in. ``page`` gives a whole page, or only its main part where the page itself asks for it."""

    def __init__(self, static: Path, *, author: str | None = None) -> None:
        self.author = author
        self.environment = Environment(
            loader=FileSystemLoader(TEMPLATES),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
        )
        self.environment.globals.update(
            {
                "_": tr,
                "language": language,
                "languages": languages,
                "translation_doubt": translation_doubt,
                "theme": theme,
                "themes": theme_words,
                "asset": lambda name: f"/static/{manifest(static)[name]}",
            }
        )
        self.environment.filters.update({"number": words.number, "interval": words.interval, "share": words.share})

    def text(self, template: str, view: View) -> str:
        """The template filled with the fields of ``view``; each form carries the word of the session, if there is one."""
        made = self.environment.get_template(template).render(context(view))
        actor = acting.current()
        author = self.author if actor is None else actor.account
        if author is not None:
            made = made.replace("<head>", f'<head>\n<meta name="forestay-author" content="{author}">', 1)
        if actor is None:
            return made
        made = POSTED.sub(rf'\1<input type="hidden" name="csrf" value="{actor.csrf}">', made)
        return made.replace("<head>", f'<head>\n<meta name="forestay-token" content="{actor.csrf}">', 1)

    def page(self, request: Request, template: str, view: View, *, status: int = 200) -> HTMLResponse:
        """``name.html`` as a page; a request from within the page gets the part that it will replace.

        The part with the identity ``look`` is ``name.look.html``; without such a file it is ``name.main.html``.
        """
        name = template
        if wants_part(request):
            parts = [template.replace(".html", f".{part}.html") for part in (target_of(request), "main")]
            name = next((part for part in parts if (TEMPLATES / part).is_file()), template)
        return HTMLResponse(self.text(name, view), status_code=status)


def context(view: View) -> dict[str, Any]:
    """The fields of a view by name: all that a template may see."""
    return {field.name: getattr(view, field.name) for field in fields(view)}


def wants_part(request: Request) -> bool:
    """True where the page itself asks for its main part. A restored page or a plain visit gets the whole."""
    return request.headers.get("hx-request") == "true" and request.headers.get("hx-request-type") != "full"


def target_of(request: Request) -> str:
    """The identity of the element that the answer will replace, letters only; empty where it is not said."""
    named = request.headers.get("hx-target", "").partition("#")[2]
    return named if named.isalpha() and named.isascii() else ""
