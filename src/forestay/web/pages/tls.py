"""``/tls``: how a tablet comes to trust this machine, with the certificate of its authority to install."""

from __future__ import annotations

import io

from fastapi import APIRouter, Request, Response
from markupsafe import Markup

from forestay.errors import NotFound
from forestay.services import actor as acting
from forestay.services.certificates import Issued, authority_for_tablets
from forestay.services.planning import caution
from forestay.text import tr
from forestay.web.render import Renderer
from forestay.web.settings import Settings
from forestay.web.views.shell import bare_shell, shell
from forestay.web.views.tls import TlsView


def router(settings: Settings, renderer: Renderer) -> APIRouter:
    """The page and the certificate. Open to all: who does not trust the machine yet cannot sign in."""
    routes = APIRouter(prefix="/tls", include_in_schema=False)

    @routes.get("")
    def page(request: Request) -> Response:
        return renderer.page(request, "tls.html", _view(settings, f"{request.url.scheme}://{request.url.netloc}/"))

    @routes.get("/authority.crt")
    def authority() -> Response:
        if settings.issued is None:
            raise NotFound(tr("This server makes no certificate of its own."), field="address", value="/tls")
        name = {"Content-Disposition": 'attachment; filename="forestay-authority.crt"'}
        return Response(authority_for_tablets(settings.issued), media_type="application/x-x509-ca-cert", headers=name)

    return routes


def _view(settings: Settings, address: str) -> TlsView:
    open_to_all = settings.accounts is not None and acting.current() is None
    issued: Issued | None = settings.issued
    title = tr("Tablets in this network")
    return TlsView(
        shell=bare_shell(title) if open_to_all else shell(title, "/tls"),
        address=address if issued else "",
        picture=_picture(address) if issued else None,
        fingerprint=issued.fingerprint if issued else "",
        until=issued.until.date().isoformat() if issued else "",
        caution=caution(),
    )


def _picture(address: str) -> Markup:
    import segno

    drawn = io.BytesIO()
    segno.make(address, error="m").save(
        drawn, kind="svg", scale=5, xmldecl=False, svgns=True, title=address, light="#fff"
    )
    return Markup(drawn.getvalue().decode())  # noqa: S704 - our own drawing of our own address
