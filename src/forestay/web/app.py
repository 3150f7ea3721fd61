"""Puts the web application together: routers, failures, headers, built files."""

from __future__ import annotations

from fastapi import FastAPI
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.staticfiles import StaticFiles

from forestay import __version__
from forestay.web import failures, live
from forestay.web.api import calc, facts, health
from forestay.web.guard import Cookies, Guard
from forestay.web.pages import (
    account,
    accounts,
    after,
    again,
    attachments,
    case,
    cases,
    consent,
    day,
    entry,
    evidence,
    hospital,
    identity,
    importing,
    offline,
    preferences,
    reference,
    review,
    signin,
    sort,
    theatre,
    tls,
    ways,
)
from forestay.web.pages import (
    settings as practice,
)
from forestay.web.preferences import Preferences
from forestay.web.render import Renderer, manifest
from forestay.web.replay import Replays
from forestay.web.security import OwnPagesOnly, SecurityHeaders
from forestay.web.settings import Settings
from forestay.web.who import USUAL


def create_app(settings: Settings) -> FastAPI:
    """The application. Everything that it needs is in ``settings``; two applications never share state."""
    manifest(settings.static)
    app = FastAPI(
        title="Forestay",
        version=__version__,
        summary="Calculations for the difficult cataract: each by name, with its doubts and sources",
        docs_url=None,
        redoc_url=None,
        openapi_url="/api/openapi.json",
    )
    # Where people sign in, each page says who; signed out, nobody.
    renderer = Renderer(settings.static, author=USUAL.author if settings.accounts is None else None)
    failures.install(app, renderer)
    app.include_router(health.router)
    app.include_router(calc.router)
    app.include_router(facts.router(settings.desk, settings.accounts))
    app.state.desk = settings.desk
    app.state.live = live.Live()
    app.include_router(live.router(settings.desk, app.state.live))
    for pages in (cases, importing, entry, theatre, after, again, case, ways, review, day, consent):
        app.include_router(pages.router(settings.desk, renderer))
    for plain in (reference, evidence, sort):
        app.include_router(plain.router(renderer))
    app.include_router(offline.router(settings, renderer))
    app.include_router(tls.router(settings, renderer))
    app.include_router(preferences.router())
    app.include_router(practice.router(settings.desk, renderer, settings.accounts))
    for beside in (identity, attachments):
        app.include_router(beside.router(settings.desk, renderer))
    app.add_middleware(Replays, desk=settings.desk)
    if settings.accounts is not None:
        cookies = Cookies(settings.secure)
        app.include_router(signin.first_router(settings.accounts, renderer, code=settings.first_code))
        app.include_router(signin.router(settings.accounts, cookies, renderer, hospital=settings.sign_on is not None))
        app.include_router(account.router(settings.accounts, cookies, renderer))
        app.include_router(accounts.router(settings.accounts, renderer))
        if settings.sign_on is not None:
            app.include_router(hospital.router(settings.accounts, cookies, settings.sign_on))
        app.add_middleware(
            Guard, accounts=settings.accounts, cookies=cookies, renderer=renderer, limits=settings.limits
        )
    app.mount("/static", StaticFiles(directory=settings.static / "built"), name="static")
    app.add_middleware(Preferences, usual_language=settings.language, shown=lambda: settings.desk.in_force.kept.shown)
    app.add_middleware(failures.FaultsInOneSentence, renderer=renderer)
    app.add_middleware(TrustedHostMiddleware, allowed_hosts=list(settings.hosts), www_redirect=False)
    app.add_middleware(OwnPagesOnly)
    app.add_middleware(SecurityHeaders)
    return app
