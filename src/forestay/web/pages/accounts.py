"""``/accounts`` for the administrator, ``/accounts/reading`` for whoever reviews."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response
from starlette.concurrency import run_in_threadpool

from forestay.errors import ForestayError, InvalidInput
from forestay.services.accounts import Accounts
from forestay.text import tr
from forestay.web.pages.account import me, role_words
from forestay.web.render import Renderer
from forestay.web.views.forms_page import Button, Choice, FieldOfForm, Form, FormsView, Rows
from forestay.web.views.shell import Link, shell

LINES = 200


def router(accounts: Accounts, renderer: Renderer) -> APIRouter:
    """The pages."""
    routes = APIRouter(prefix="/accounts", include_in_schema=False)

    def all_page(request: Request, said: str = "", wrong: ForestayError | None = None) -> Response:
        devices = accounts.rows.devices()
        view = FormsView(
            shell=shell(tr("Accounts"), "/accounts"),
            lead=(),
            said=wrong.message if wrong else said,
            wrong=wrong is not None,
            forms=(
                *(
                    _account_form(one.id, one.shown_as, one.login, one.roles, active=one.active)
                    for one in accounts.rows.all()
                ),
                _new_form(),
                *(_device_form(one.id, one.name, one.trusted_at) for one in devices),
            ),
            tables=(),
            ways=(Link(tr("Who read what"), "/accounts/reading"),),
        )
        return renderer.page(request, "forms.html", view, status=wrong.http_status if wrong else 200)

    @routes.get("")
    def every(request: Request) -> Response:
        return all_page(request)

    @routes.post("")
    async def create(request: Request) -> Response:
        form = await request.form()
        word = {name: str(form.get(name, "")) for name in ("login", "shown_as", "subject")}
        roles = tuple(str(role) for role in form.getlist("roles"))

        def made() -> Response:
            try:
                password = accounts.create(me(), roles=roles, **word)
            except ForestayError as wrong:
                return all_page(request, "", wrong)
            return all_page(request, _once(word["login"], password))

        return await run_in_threadpool(made)

    @routes.post("/{account_id}")
    async def change(request: Request, account_id: str) -> Response:
        form = await request.form()
        action, roles = str(form.get("do", "")), tuple(str(role) for role in form.getlist("roles"))
        return await run_in_threadpool(changed, request, account_id, action, roles)

    def changed(request: Request, account_id: str, action: str, roles: tuple[str, ...]) -> Response:
        actor, said = me(), tr("Done.")
        try:
            if action == "roles":
                accounts.set_roles(actor, account_id, roles)
            elif action in ("close", "open"):
                accounts.set_active(actor, account_id, action == "open")
            elif action == "reset":
                said = _once(account_id, accounts.reset_password(actor, account_id))
            else:
                allowed = "roles, close, open, reset"
                raise InvalidInput(tr("Nothing was chosen; allowed: {allowed}.", allowed=allowed), field="do")
        except ForestayError as wrong:
            return all_page(request, "", wrong)
        return all_page(request, said)

    @routes.post("/devices/{device_id}")
    def distrust(request: Request, device_id: str) -> Response:
        accounts.distrust_device(me(), device_id)
        return all_page(request, tr("Done."))

    @routes.get("/reading")
    def reading(request: Request, case: str = "") -> Response:
        lines = accounts.rows.noted(case_id=case[:64] or None, limit=LINES)
        names = {one.id: one.shown_as for one in accounts.rows.all()}
        rows = tuple(
            (
                line.at[:19].replace("T", " "),
                names.get(line.account_id or "", tr("nobody signed in")),
                line.device_id or "",
                line.action,
                line.case_id or "",
                line.outcome,
            )
            for line in lines
        )
        columns = (tr("When (UTC)"), tr("Who"), tr("Device"), tr("What"), tr("Case"), tr("Outcome"))
        view = FormsView(
            shell=shell(tr("Who read what"), "/accounts/reading"),
            lead=(
                tr(
                    "The last {count} lines. Each is chained to the one before; forestay verify checks them.",
                    count=LINES,
                ),
            ),
            said="",
            wrong=False,
            forms=(),
            tables=(Rows(tr("The record of reading"), columns, rows),),
            ways=(),
        )
        return renderer.page(request, "forms.html", view)

    return routes


def _once(name: str, password: str) -> str:
    return tr(
        "Password for {name}, shown only now; it must be changed at the first sign-in: {password}",
        name=name,
        password=password,
    )


def _roles(roles: tuple[str, ...]) -> FieldOfForm:
    choices = tuple(Choice(name, words, name in roles) for name, words in role_words().items())
    return FieldOfForm("roles", tr("Roles"), kind="checkboxes", choices=choices)


def _account_form(account_id: str, shown_as: str, login: str, roles: tuple[str, ...], *, active: bool) -> Form:
    state = Button(tr("Close the account"), "do", "close") if active else Button(tr("Open it again"), "do", "open")
    return Form(
        f"account-{account_id}",
        shown_as,
        f"/accounts/{account_id}",
        (_roles(roles),),
        (Button(tr("Keep these roles"), "do", "roles"), Button(tr("New password"), "do", "reset"), state),
        about=f"{login} · {account_id}" + ("" if active else " · " + tr("closed")),
    )


def _new_form() -> Form:
    return Form(
        "new",
        tr("A new account"),
        "/accounts",
        (
            FieldOfForm("login", tr("Name to sign in with")),
            FieldOfForm("shown_as", tr("Name as shown on screen")),
            _roles(()),
            FieldOfForm("subject", tr("Identity at the hospital's sign-on, if there is one"), needed=False),
        ),
        (Button(tr("Create it")),),
    )


def _device_form(device_id: str, name: str, since: str) -> Form:
    return Form(
        f"device-{device_id}",
        tr("Trusted device: {name}", name=name),
        f"/accounts/devices/{device_id}",
        (),
        (Button(tr("Trust it no longer")),),
        about=tr("since {day}", day=since[:10]),
    )
