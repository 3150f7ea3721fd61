"""``/sign-in/hospital``: signing in through the hospital's own sign-on, there and back."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response
from starlette.responses import RedirectResponse

from forestay.errors import ForestayError
from forestay.services.accounts import Accounts, SignInFailed
from forestay.text import tr
from forestay.web.guard import SEE_OTHER, Cookies
from forestay.web.sign_on import SignOn

COOKIE = "forestay-sign-on"
MINUTES_S = 600


def router(accounts: Accounts, cookies: Cookies, sign_on: SignOn) -> APIRouter:
    """There and back."""
    routes = APIRouter(prefix="/sign-in/hospital", include_in_schema=False)

    @routes.get("")
    def begin() -> Response:
        try:
            address, begun = sign_on.begin()
        except ForestayError:
            raise
        except Exception as wrong:
            raise SignInFailed(tr("The hospital's sign-on does not answer; use the password.")) from wrong
        answer = RedirectResponse(address, SEE_OTHER)
        cookies.give(answer, COOKIE, begun.text(), MINUTES_S)
        return answer

    @routes.get("/back")
    def back(request: Request, state: str = "", code: str = "") -> Response:
        kept = cookies.read(request.headers, COOKIE) or ""
        subject = sign_on.subject(kept, state=state, code=code)
        signed = accounts.sign_in_by_subject(subject)
        answer = RedirectResponse("/", SEE_OTHER)
        cookies.give(answer, cookies.session, signed.token, signed.seconds)
        cookies.take(answer, COOKIE)
        return answer

    return routes
