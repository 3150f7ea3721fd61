"""``/first``, ``/sign-in``, ``/sign-out``: the first account, signing in by password or PIN, signing out."""

from __future__ import annotations

import hmac
from collections.abc import Callable
from urllib.parse import quote, urlsplit

from fastapi import APIRouter, Request, Response
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse

from forestay.errors import ForestayError, InvalidInput
from forestay.services.access import table
from forestay.services.accounts import Accounts, SignedIn
from forestay.services.actor import Forbidden
from forestay.text import tr
from forestay.web.guard import SEE_OTHER, Cookies
from forestay.web.render import Renderer
from forestay.web.views.forms_page import Button, Choice, FieldOfForm, Form, FormsView
from forestay.web.views.shell import Link, bare_shell


def own(address: str) -> str:
    """A path of this very site; the first page for anything else."""
    parts = urlsplit(address)
    odd = parts.scheme or parts.netloc or not address.startswith("/") or address.startswith(("//", "/\\"))
    return "/" if odd or not address.isprintable() else address


async def form_of(request: Request) -> dict[str, str]:
    """The words of a form."""
    form = await request.form()
    return {name: value for name, value in form.items() if isinstance(value, str)}


Show = Callable[..., Response]


def shower(renderer: Renderer) -> Show:
    """Shows a page to somebody who is not signed in."""

    def show(
        request: Request,
        title: str,
        forms: tuple[Form, ...],
        wrong: ForestayError | None,
        *,
        lead: tuple[str, ...] = (),
        ways: tuple[Link, ...] = (),
    ) -> Response:
        view = FormsView(
            shell=bare_shell(title),
            lead=lead,
            said=wrong.message if wrong else "",
            wrong=wrong is not None,
            forms=forms,
            tables=(),
            ways=ways,
        )
        return renderer.page(request, "forms.html", view, status=wrong.http_status if wrong else 200)

    return show


def first_router(accounts: Accounts, renderer: Renderer, *, code: str | None) -> APIRouter:
    """The first account. ``code``: what the terminal said at the first start, where others can reach the server."""
    routes, show = APIRouter(include_in_schema=False), shower(renderer)

    @routes.get("/first")
    def first(request: Request) -> Response:
        if not accounts.first_run():
            return RedirectResponse("/sign-in", SEE_OTHER)
        return show(request, tr("The first account"), (_first_form({}, code),), None, lead=_first_lead())

    @routes.post("/first")
    async def create_first(request: Request) -> Response:
        form = await form_of(request)
        try:
            if code is not None and not hmac.compare_digest(form.get("code", "").strip().encode(), code.encode()):
                raise Forbidden(tr("The code is not the one that the terminal shows."), field="code")
            _twice(form)
            await run_in_threadpool(
                accounts.create_first,
                login=form.get("login", ""),
                shown_as=form.get("shown_as", ""),
                password=form.get("password", ""),
            )
        except ForestayError as wrong:
            return show(request, tr("The first account"), (_first_form(form, code),), wrong, lead=_first_lead())
        return RedirectResponse("/sign-in", SEE_OTHER)

    return routes


def router(accounts: Accounts, cookies: Cookies, renderer: Renderer, *, hospital: bool = False) -> APIRouter:
    """Signing in and out."""
    routes, show = APIRouter(include_in_schema=False), shower(renderer)

    def welcome(signed: SignedIn, to: str) -> Response:
        actor = accounts.actor(signed.token)
        home = to == "/" and actor is not None and "read" not in actor.permissions
        answer = RedirectResponse("/account" if home else own(to), SEE_OTHER)
        cookies.give(answer, cookies.session, signed.token, signed.seconds)
        return answer

    @routes.get("/sign-in")
    def sign_in(request: Request, to: str = "/") -> Response:
        return show(request, tr("Sign in"), (_sign_in_form(own(to), ""),), None, ways=_ways(request, to))

    @routes.post("/sign-in")
    async def enter(request: Request) -> Response:
        form = await form_of(request)
        to, login = own(form.get("to", "/")), form.get("login", "")
        try:
            signed = await run_in_threadpool(
                accounts.sign_in,
                login,
                form.get("password", ""),
                address=request.client.host if request.client else "",
                device=cookies.read(request.headers, cookies.device),
            )
        except ForestayError as wrong:
            return show(request, tr("Sign in"), (_sign_in_form(to, login),), wrong, ways=_ways(request, to))
        return welcome(signed, to)

    def _ways(request: Request, to: str) -> tuple[Link, ...]:
        other = (Link(tr("Sign in through the hospital"), "/sign-in/hospital"),) if hospital else ()
        if accounts.trusted(cookies.read(request.headers, cookies.device)) is None:
            return other
        return (
            *other,
            Link(tr("Switch by PIN"), f"/sign-in/switch?to={quote(own(to), safe='')}"),
        )

    @routes.get("/sign-in/switch")
    def switch(request: Request, to: str = "/") -> Response:
        return _switch(request, own(to), None)

    def _switch(request: Request, to: str, wrong: ForestayError | None) -> Response:
        ways = (Link(tr("Sign in with the password"), f"/sign-in?to={quote(to, safe='')}"),)
        if accounts.trusted(cookies.read(request.headers, cookies.device)) is None:
            no = Forbidden(tr("This device is not trusted; sign in with the password."))
            return show(request, tr("Switch by PIN"), (), no, ways=ways)
        people = tuple(Choice(one.id, one.shown_as) for one in accounts.with_pin())
        fields = (
            FieldOfForm("account", tr("Who"), kind="select", choices=people),
            FieldOfForm("pin", tr("PIN"), kind="password", digits=True),
            FieldOfForm("to", "", kind="hidden", value=to),
        )
        form = Form("switch", tr("Switch by PIN"), "/sign-in/switch", fields, (Button(tr("Switch")),))
        return show(request, tr("Switch by PIN"), (form,), wrong, ways=ways)

    @routes.post("/sign-in/switch")
    async def switched(request: Request) -> Response:
        form = await form_of(request)
        to = own(form.get("to", "/"))
        device = cookies.read(request.headers, cookies.device)
        before = cookies.read(request.headers, cookies.session)
        try:
            signed = await run_in_threadpool(
                accounts.sign_in_by_pin, device, form.get("account", ""), form.get("pin", "")
            )
        except ForestayError as wrong:
            return await run_in_threadpool(_switch, request, to, wrong)
        if before:
            await run_in_threadpool(accounts.sign_out, before)
        return welcome(signed, to)

    @routes.post("/sign-out")
    async def sign_out(request: Request) -> Response:
        token = cookies.read(request.headers, cookies.session)
        if token:
            await run_in_threadpool(accounts.sign_out, token)
        answer = RedirectResponse("/sign-in", SEE_OTHER)
        cookies.take(answer, cookies.session)
        answer.headers["Clear-Site-Data"] = '"cache"'
        return answer

    return routes


def _twice(form: dict[str, str]) -> None:
    if form.get("password", "") != form.get("again", ""):
        raise InvalidInput(tr("The two passwords are not the same."), field="again")


def _first_lead() -> tuple[str, ...]:
    return (
        tr("Nobody has an account here yet. This one may do everything: create others, and plan as a surgeon."),
        tr("Facts will carry a pseudonym that is made now, never the name."),
    )


def password_hint() -> str:
    """What a password must be."""
    limits = table().limits
    return tr(
        "{low} to {high} characters of any kind; a sentence is good. Pasting is allowed.",
        low=limits["shortest_password"],
        high=limits["longest_password"],
    )


def _first_form(form: dict[str, str], code: str | None) -> Form:
    fields: tuple[FieldOfForm, ...] = (
        FieldOfForm("login", tr("Name to sign in with"), value=form.get("login", ""), complete="username"),
        FieldOfForm("shown_as", tr("Name as shown on screen"), value=form.get("shown_as", ""), complete="name"),
        FieldOfForm("password", tr("Password"), kind="password", complete="new-password", hint=password_hint()),
        FieldOfForm("again", tr("The same again"), kind="password", complete="new-password"),
    )
    if code is not None:
        fields = (*fields, FieldOfForm("code", tr("Code that the terminal shows")))
    return Form("first", tr("Create it"), "/first", fields, (Button(tr("Create the first account")),))


def _sign_in_form(to: str, login: str) -> Form:
    fields = (
        FieldOfForm("login", tr("Name"), value=login[:64], complete="username"),
        FieldOfForm("password", tr("Password"), kind="password", complete="current-password"),
        FieldOfForm("to", "", kind="hidden", value=to),
    )
    return Form("sign-in", tr("Who are you?"), "/sign-in", fields, (Button(tr("Sign in")),))
