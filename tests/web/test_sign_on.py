"""The hospital's sign-on, against a provider of the test's own that signs with a key of its own (OpenID Connect Core 1.0)."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from typing import Any
from urllib.parse import parse_qs, urlsplit

import httpx
import pytest
from joserfc import jwk, jwt

from forestay.errors import InvalidInput
from forestay.services.accounts import SignInFailed
from forestay.web.sign_on import SignOn, challenge, from_environment

ISSUER = "https://sign-on.example"
KEY = jwk.RSAKey.generate_key(2048, parameters={"kid": "k1", "use": "sig", "alg": "RS256"})
OTHER = jwk.RSAKey.generate_key(2048, parameters={"kid": "k1", "use": "sig", "alg": "RS256"})


class Provider:
    """Answers as a provider does; ``bend`` changes what its token says."""

    def __init__(self, bend: Callable[[dict[str, Any]], dict[str, Any]] = dict, key: Any = KEY) -> None:
        self.bend, self.key = bend, key
        self.nonce = self.challenge = ""

    def __call__(self, request: httpx.Request) -> httpx.Response:
        path = request.url.path
        if path == "/.well-known/openid-configuration":
            told = {"issuer": ISSUER, "authorization_endpoint": f"{ISSUER}/auth", "token_endpoint": f"{ISSUER}/token"}
            return httpx.Response(200, json={**told, "jwks_uri": f"{ISSUER}/keys"})
        if path == "/keys":
            return httpx.Response(200, json={"keys": [KEY.as_dict(private=False)]})
        form = parse_qs(request.content.decode())
        # RFC 7636: the verifier belongs to the challenge that was sent before
        if challenge(form["code_verifier"][0]) != self.challenge or form["code"] != ["good"]:
            return httpx.Response(400, json={"error": "invalid_grant"})
        now = int(time.time())
        claims = {
            "iss": ISSUER,
            "aud": "forestay",
            "sub": "person-7",
            "exp": now + 300,
            "iat": now,
            "nonce": self.nonce,
        }
        token = jwt.encode({"alg": "RS256", "kid": "k1"}, self.bend(claims), self.key)
        return httpx.Response(200, json={"access_token": "x", "token_type": "Bearer", "id_token": token})

    def sign_on(self) -> SignOn:
        return SignOn(ISSUER, "forestay", "secret", "https://clinic.example", transport=httpx.MockTransport(self))


def there(provider: Provider, sign_on: SignOn) -> tuple[str, str]:
    """Begin; what the browser keeps, and the state that comes back."""
    address, begun = sign_on.begin()
    asked = parse_qs(urlsplit(address).query)
    assert asked["redirect_uri"] == ["https://clinic.example/sign-in/hospital/back"]
    assert asked["code_challenge_method"] == ["S256"]
    provider.nonce, provider.challenge = asked["nonce"][0], asked["code_challenge"][0]
    return begun.text(), asked["state"][0]


def test_who_comes_back_is_who_the_provider_signed_for() -> None:
    provider = Provider()
    sign_on = provider.sign_on()
    kept, state = there(provider, sign_on)
    assert sign_on.subject(kept, state=state, code="good") == "person-7"
    assert "secret" not in repr(sign_on)


BENT: dict[str, Callable[[dict[str, Any]], dict[str, Any]]] = {
    "another issuer": lambda c: {**c, "iss": "https://other.example"},
    "for another program": lambda c: {**c, "aud": "other"},
    "run out": lambda c: {**c, "exp": int(time.time()) - 3600},
    "of another sign-on": lambda c: {**c, "nonce": "other"},
    "for nobody": lambda c: {name: value for name, value in c.items() if name != "sub"},
}


@pytest.mark.parametrize("name", BENT)
def test_a_token_that_is_not_for_this_sign_on_is_refused(name: str) -> None:
    provider = Provider(BENT[name])
    sign_on = provider.sign_on()
    kept, state = there(provider, sign_on)
    with pytest.raises(SignInFailed):
        sign_on.subject(kept, state=state, code="good")


def test_a_forged_token_a_wrong_code_and_another_browser_are_refused() -> None:
    forged = Provider(key=OTHER)
    sign_on = forged.sign_on()
    kept, state = there(forged, sign_on)
    with pytest.raises(SignInFailed):
        sign_on.subject(kept, state=state, code="good")
    provider = Provider()
    sign_on = provider.sign_on()
    kept, state = there(provider, sign_on)
    for wrong in ({"state": state, "code": "bad"}, {"state": "other", "code": "good"}):
        with pytest.raises(SignInFailed):
            sign_on.subject(kept, **wrong)
    with pytest.raises(SignInFailed, match="this browser"):
        sign_on.subject("", state=state, code="good")


def test_half_a_setting_is_refused_and_none_is_no_sign_on(monkeypatch: pytest.MonkeyPatch) -> None:
    assert from_environment() is None
    monkeypatch.setenv("FORESTAY_SIGN_ON_ISSUER", ISSUER)
    with pytest.raises(InvalidInput, match="FORESTAY_SIGN_ON_SECRET"):
        from_environment()
    for name, value in (("SIGN_ON_CLIENT", "forestay"), ("SIGN_ON_SECRET", "s"), ("ADDRESS", "https://clinic.example")):
        monkeypatch.setenv(f"FORESTAY_{name}", value)
    found = from_environment()
    assert found is not None
    assert json.dumps([found.issuer, found.client]) == json.dumps([ISSUER, "forestay"])
