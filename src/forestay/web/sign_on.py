"""The hospital's own sign-on by OpenID Connect (authorization code with PKCE), where it is set up by variables.

``FORESTAY_SIGN_ON_ISSUER``, ``FORESTAY_SIGN_ON_CLIENT``, ``FORESTAY_SIGN_ON_SECRET`` and ``FORESTAY_ADDRESS`` (the address
under which browsers reach this server). An account takes part once the administrator has named its subject.
"""

from __future__ import annotations

import hashlib
import os
import secrets
from base64 import urlsafe_b64encode
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from forestay.errors import InvalidInput
from forestay.services.accounts import SignInFailed
from forestay.text import tr

if TYPE_CHECKING:
    import httpx

NAMES = ("ISSUER", "CLIENT", "SECRET")
BACK = "/sign-in/hospital/back"
PATIENCE_S = 10
LEEWAY_S = 60


@dataclass(frozen=True)
class Begun:
    """A sign-on that has begun in one browser; kept there until it comes back."""

    state: str
    nonce: str
    verifier: str

    def text(self) -> str:
        """As a cookie keeps it: the three are letters and digits."""
        return f"{self.state}.{self.nonce}.{self.verifier}"


@dataclass
class SignOn:
    """One provider. ``transport`` replaces the network in a test."""

    issuer: str
    client: str
    secret: str = field(repr=False)
    address: str
    transport: Any = None
    _found: dict[str, Any] = field(default_factory=dict)

    def begin(self) -> tuple[str, Begun]:
        """Where to send the browser, and what it keeps meanwhile."""
        begun = Begun(*(secrets.token_hex(32) for _ in range(3)))
        asked = {
            "response_type": "code",
            "client_id": self.client,
            "redirect_uri": self._back(),
            "scope": "openid",
            "state": begun.state,
            "nonce": begun.nonce,
            "code_challenge": challenge(begun.verifier),
            "code_challenge_method": "S256",
        }
        with self._client() as client:
            address = str(self._provider(client)["authorization_endpoint"])
        return f"{address}{'&' if '?' in address else '?'}{urlencode(asked)}", begun

    def subject(self, kept: str, *, state: str, code: str) -> str:
        """Who came back: the provider's name for the person, after state, nonce, signature and times were checked."""
        parts = kept.split(".")
        if len(parts) != 3 or not secrets.compare_digest(parts[0].encode(), state.encode()):
            raise SignInFailed(tr("This sign-on did not begin in this browser; begin again."), field="state")
        begun = Begun(*parts)
        from httpx import HTTPError
        from joserfc.errors import JoseError

        try:
            with self._client() as client:
                provider = self._provider(client)
                form = {
                    "grant_type": "authorization_code",
                    "code": code,
                    "redirect_uri": self._back(),
                    "code_verifier": begun.verifier,
                }
                answer = client.post(provider["token_endpoint"], data=form, auth=(self.client, self.secret))
                told = answer.raise_for_status().json()
                claims = self._claims(str(told["id_token"]), self._keys(client, provider), begun.nonce)
        except (HTTPError, JoseError, KeyError, ValueError, TypeError):
            raise SignInFailed(tr("The sign-on could not be checked; begin again, or use the password.")) from None
        return str(claims["sub"])

    def _claims(self, token: str, keys: dict[str, Any], nonce: str) -> dict[str, Any]:
        from joserfc import jwk, jwt

        read = jwt.decode(token, jwk.KeySet.import_key_set(keys), algorithms=["RS256", "ES256"])  # type: ignore[arg-type]
        jwt.JWTClaimsRegistry(
            leeway=LEEWAY_S,
            iss={"essential": True, "value": self.issuer},
            aud={"essential": True, "value": self.client},
            exp={"essential": True},
            sub={"essential": True},
            nonce={"essential": True, "value": nonce},
        ).validate(read.claims)
        return dict(read.claims)

    def _back(self) -> str:
        return self.address.rstrip("/") + BACK

    def _client(self) -> httpx.Client:
        import httpx

        return httpx.Client(transport=self.transport, timeout=PATIENCE_S)

    def _provider(self, client: httpx.Client) -> dict[str, Any]:
        if not self._found:
            answer = client.get(self.issuer.rstrip("/") + "/.well-known/openid-configuration")
            told = answer.raise_for_status().json()
            if told["issuer"] != self.issuer:
                raise ValueError("another issuer")
            self._found = dict(told)
        return self._found

    def _keys(self, client: httpx.Client, provider: dict[str, Any]) -> dict[str, Any]:
        return dict(client.get(provider["jwks_uri"]).raise_for_status().json())


def challenge(verifier: str) -> str:
    """What PKCE sends first: BASE64URL(SHA-256(verifier)) without padding (RFC 7636, appendix B gives the example).

    >>> challenge("dBjftJeZ4CVP-mB92K27uhbUJU1p1r_wW1gFWFOEjXk")
    'E9Melhoa2OwvFrEMTJguCHaoeK1t8URWbuGJSstw-cM'
    """
    return urlsafe_b64encode(hashlib.sha256(verifier.encode()).digest()).rstrip(b"=").decode()


def from_environment() -> SignOn | None:
    """The sign-on that the variables describe; None where there are none of them."""
    told = [os.environ.get(f"FORESTAY_SIGN_ON_{name}", "") for name in NAMES]
    if not any(told):
        return None
    address = os.environ.get("FORESTAY_ADDRESS", "")
    if not all(told) or not address or not told[0].startswith("https://"):
        allowed = ", ".join([*(f"FORESTAY_SIGN_ON_{name}" for name in NAMES), "FORESTAY_ADDRESS"])
        raise InvalidInput(
            tr("The hospital's sign-on needs all of {allowed}, and an issuer over https.", allowed=allowed),
            field="sign-on",
            allowed=allowed,
        )
    return SignOn(told[0], told[1], told[2], address)
