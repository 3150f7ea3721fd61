"""``/account``: one's own password, PIN and device."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse

from forestay.errors import ForestayError, InvalidInput
from forestay.services import actor as acting
from forestay.services.access import table
from forestay.services.accounts import Accounts
from forestay.services.actor import Actor, Forbidden
from forestay.text import tr
from forestay.web.guard import SEE_OTHER, Cookies
from forestay.web.pages.signin import form_of, password_hint
from forestay.web.render import Renderer
from forestay.web.views.forms_page import Button, FieldOfForm, Form, FormsView
from forestay.web.views.shell import Link, shell

A_DAY_S = 86_400


def me() -> Actor:
    actor = acting.current()
    if actor is None:
        raise Forbidden(tr("There are no accounts here."))
    return actor


def role_words() -> dict[str, str]:
    """The roles in words."""
    return {
        "surgeon": tr("surgeon"),
        "nurse": tr("nurse"),
        "trainee": tr("trainee"),
        "auditor": tr("auditor"),
        "administrator": tr("administrator"),
    }


def router(accounts: Accounts, cookies: Cookies, renderer: Renderer) -> APIRouter:
    """The page of whoever is signed in."""
    routes = APIRouter(prefix="/account", include_in_schema=False)

    def own_page(request: Request, said: str = "", wrong: ForestayError | None = None) -> Response:
        actor = me()
        trusted = accounts.trusted(cookies.read(request.headers, cookies.device))
        view = FormsView(
            shell=shell(actor.shown_as, "/account"),
            lead=_own_lead(actor, trusted.name if trusted else None),
            said=wrong.message if wrong else said,
            wrong=wrong is not None,
            forms=_own_forms(actor, trusted=trusted is not None),
            tables=(),
            ways=_own_ways(actor, trusted=trusted is not None),
        )
        return renderer.page(request, "forms.html", view, status=wrong.http_status if wrong else 200)

    @routes.get("")
    def account(request: Request) -> Response:
        return own_page(request)

    @routes.post("/password")
    async def password(request: Request) -> Response:
        form = await form_of(request)
        try:
            if form.get("new", "") != form.get("again", ""):
                raise InvalidInput(tr("The two passwords are not the same."), field="again")
            await run_in_threadpool(accounts.change_password, me(), form.get("old", ""), form.get("new", ""))
        except ForestayError as wrong:
            return await run_in_threadpool(own_page, request, "", wrong)
        return RedirectResponse("/sign-in", SEE_OTHER)

    @routes.post("/pin")
    async def pin(request: Request) -> Response:
        form = await form_of(request)
        try:
            await run_in_threadpool(accounts.set_pin, me(), form.get("password", ""), form.get("pin", ""))
        except ForestayError as wrong:
            return await run_in_threadpool(own_page, request, "", wrong)
        return await run_in_threadpool(own_page, request, tr("The PIN is set."))

    @routes.post("/device")
    async def device(request: Request) -> Response:
        form = await form_of(request)
        actor = me()
        try:
            if actor.by_pin or actor.must_change:
                raise Forbidden(tr("Sign in with the password to trust a device."))
            token = await run_in_threadpool(accounts.trust_device, actor, form.get("name", ""))
        except ForestayError as wrong:
            return await run_in_threadpool(own_page, request, "", wrong)
        answer = RedirectResponse("/account", SEE_OTHER)
        cookies.give(answer, cookies.device, token, table().limits["trusted_days"] * A_DAY_S)
        return answer

    return routes


def _own_lead(me: Actor, trusted: str | None) -> tuple[str, ...]:
    words = role_words()
    told = [
        tr(
            "You act as {roles}; facts carry {account} and {device}.",
            roles=", ".join(words[r] for r in me.roles),
            account=me.account,
            device=me.device,
        )
    ]
    if me.must_change:
        told.insert(0, tr("Choose a password of your own first: somebody else knows this one."))
    if trusted:
        told.append(tr("This device is trusted as {name}.", name=trusted))
    if me.by_pin:
        told.append(tr("You came by PIN: to sign or to administer, sign in with the password."))
    return tuple(told)


def _own_ways(me: Actor, *, trusted: bool) -> tuple[Link, ...]:
    ways = [Link(tr("Switch user"), "/sign-in/switch")] if trusted else []
    if "administer" in me.permissions:
        ways.append(Link(tr("Accounts"), "/accounts"))
    if "review" in me.permissions:
        ways.append(Link(tr("Who read what"), "/accounts/reading"))
    return tuple(ways)


def _own_forms(me: Actor, *, trusted: bool) -> tuple[Form, ...]:
    low, high = table().limits["pin_digits"]
    forms = [
        Form("out", tr("Sign out"), "/sign-out", (), (Button(tr("Sign out")),)),
        Form(
            "password",
            tr("Change the password"),
            "/account/password",
            (
                FieldOfForm("old", tr("Password now"), kind="password", complete="current-password"),
                FieldOfForm("new", tr("New password"), kind="password", complete="new-password", hint=password_hint()),
                FieldOfForm("again", tr("The same again"), kind="password", complete="new-password"),
            ),
            (Button(tr("Change it")),),
            about=tr("All sessions of this account end."),
        ),
    ]
    if not me.must_change:
        forms.append(
            Form(
                "pin",
                tr("PIN for the quick switch"),
                "/account/pin",
                (
                    FieldOfForm("password", tr("Password"), kind="password", complete="current-password"),
                    FieldOfForm(
                        "pin",
                        tr("PIN"),
                        kind="password",
                        digits=True,
                        hint=tr("{low} to {high} digits", low=low, high=high),
                    ),
                ),
                (Button(tr("Set the PIN")),),
            )
        )
    if not (trusted or me.must_change or me.by_pin):
        forms.append(
            Form(
                "device",
                tr("Trust this device"),
                "/account/device",
                (FieldOfForm("name", tr("Name of the device")),),
                (Button(tr("Trust it")),),
                about=tr(
                    "Only for a device that stays in the theatre or clinic: a PIN is then enough to switch users on it."
                ),
            )
        )
    return tuple(forms)
