"""Accounts: signing in and out, sessions that the server ends, quick switch by PIN, and who may do what."""

from __future__ import annotations

import hashlib
import re
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

from pwdlib import PasswordHash
from pwdlib.hashers.argon2 import Argon2Hasher

from forestay.errors import ForestayError, InvalidInput, NotFound
from forestay.services.access import table
from forestay.services.actor import Actor, Forbidden
from forestay.services.keeping import database_of
from forestay.store.accounts import Access, Account, AccountRows, Device, Session
from forestay.store.interface import FactStore, now
from forestay.text import tr

ONCE = "once$"
"""Before the hash of a password that somebody else knows: it opens nothing but the change of password."""
TOKEN_BYTES = 32
SEEN_EVERY = timedelta(minutes=1)
LOGIN = r"[a-z0-9][a-z0-9._@-]{1,63}"


class SignInFailed(ForestayError):
    """Name and password do not belong together, or the account is closed: which of them is not said."""

    code = "sign-in-failed"
    http_status = 401


class TooManyAttempts(ForestayError):
    """Too many attempts failed; wait."""

    code = "too-many-attempts"
    http_status = 429

    @property
    def retry_after_s(self) -> int:
        """How long to wait [s]."""
        return int(table().limits["attempts_minutes"]) * 60


@dataclass(frozen=True, slots=True)
class SignedIn:
    """A new session: what the browser keeps, and for how long at most."""

    token: str
    seconds: int


def usual_hasher() -> PasswordHash:
    """argon2id with the cost of the library's recommendation."""
    return PasswordHash((Argon2Hasher(),))


class Accounts:
    """The accounts of one record."""

    def __init__(
        self, store: FactStore, *, clock: Callable[[], datetime] = now, hasher: PasswordHash | None = None
    ) -> None:
        self.rows = AccountRows(database_of(store))
        self._clock = clock
        self._hasher = hasher or usual_hasher()
        self._nobody = self._hasher.hash(secrets.token_urlsafe())
        self._any = False

    # -- signing in and out

    def first_run(self) -> bool:
        """Whether nobody has an account yet."""
        self._any = self._any or self.rows.count() > 0
        return not self._any

    def create_first(self, *, login: str, shown_as: str, password: str) -> None:
        """The first account: administrator and surgeon. Only while there is none."""
        made = self._new(login, shown_as, ("administrator", "surgeon"), self._hashed(login, password))
        if not self.rows.add(made, at=self._now(), only_first=True):
            raise Forbidden(tr("There is an administrator already; sign in."))
        self.note("first account", made.id, None)

    def sign_in(self, login: str, password: str, *, address: str, device: str | None = None) -> SignedIn:
        """A session for the right password. Name and address are limited apart, and a wrong name takes as long."""
        name = login.strip().lower()[:64]
        keys = (f"login {name}", f"address {address}")
        self._limit(keys, table().limits["attempts"])
        found = self.rows.find(login=name)
        kept = found.password if found is not None and found.active and found.password else None
        right = self._matches(password[: table().limits["longest_password"] + 1], kept or self._nobody)
        if not right or kept is None or found is None:
            self._fail(keys)
            self.note("sign in", found.id if found else None, None, outcome="refused")
            raise SignInFailed(tr("Name and password do not belong together."), field="password")
        self.rows.clear(keys[0])
        return self._open(found, self.trusted(device), by_pin=False)

    def sign_in_by_pin(self, device_token: str | None, account_id: str, pin: str) -> SignedIn:
        """A session for the right PIN on a trusted device."""
        device = self.trusted(device_token)
        if device is None:
            raise SignInFailed(tr("This device is not trusted; sign in with the password."), field="pin")
        keys = (f"pin {device.id}", f"pin of {account_id[:64]}")
        self._limit(keys, table().limits["pin_attempts"])
        found = self.rows.find(id=account_id)
        kept = found.pin if found is not None and found.active else None
        if not self._matches(pin, kept or self._nobody) or kept is None or found is None:
            self._fail(keys)
            self.note("switch by PIN", found.id if found else None, device.id, outcome="refused")
            raise SignInFailed(tr("The PIN is not the right one."), field="pin")
        for key in keys:
            self.rows.clear(key)
        return self._open(found, device, by_pin=True)

    def sign_in_by_subject(self, subject: str) -> SignedIn:
        """A session for whom the hospital's own sign-on vouches."""
        found = self.rows.find(subject=subject)
        if found is None or not found.active:
            self.note("sign in by sign-on", None, None, outcome="refused")
            raise SignInFailed(tr("There is no account for this sign-on here; ask the administrator."), field="subject")
        return self._open(found, None, by_pin=False)

    def _open(self, whose: Account, device: Device | None, *, by_pin: bool) -> SignedIn:
        token = secrets.token_urlsafe(TOKEN_BYTES)
        moment = self._now()
        # The same person on the same untrusted machine gets another device name with each session: its facts are in
        # order within the session.
        device_id = device.id if device is not None else f"s-{secrets.token_hex(6)}"
        made = Session(_hash(token), whose.id, device_id, secrets.token_urlsafe(24), moment, moment, by_pin)
        self.rows.open(made)
        self.note("switch by PIN" if by_pin else "sign in", whose.id, device_id)
        return SignedIn(token, table().limits["absolute_hours"] * 3600)

    def actor(self, token: str | None, *, by_hand: bool = True) -> Actor | None:
        """Who is signed in with this token; None where the session has ended, by whatever reason.

        ``by_hand`` is False where the page asks by itself: that keeps no session alive.
        """
        found = self.rows.session(_hash(token)) if token else None
        if found is None:
            return None
        session, whose = found
        moment, limits = self._clock(), table().limits
        idle = moment - datetime.fromisoformat(session.seen_at)
        age = moment - datetime.fromisoformat(session.started_at)
        if (
            not whose.active
            or idle > timedelta(minutes=limits["idle_minutes"])
            or age > timedelta(hours=limits["absolute_hours"])
        ):
            self.rows.end(at=self._now(), token=session.token)
            return None
        if by_hand and idle > SEEN_EVERY:
            self.rows.seen(session.token, at=self._now())
        return Actor(
            account=whose.id,
            shown_as=whose.shown_as,
            device=session.device_id,
            roles=whose.roles,
            by_pin=session.by_pin,
            csrf=session.csrf,
            must_change=(whose.password or "").startswith(ONCE) and not session.by_pin,
        )

    def was_on(self, account: str, device: str) -> bool:
        """Whether this account was ever signed in on this device: what waited there is its own."""
        return self.rows.wrote_from(account, device)

    def sign_out(self, token: str) -> None:
        """End the session on the server: what the browser kept is worth nothing any more."""
        self.rows.end(at=self._now(), token=_hash(token))

    # -- one's own account

    def change_password(self, actor: Actor, old: str, new: str) -> None:
        """Another password, for whoever knows the old one. All sessions of the account end."""
        whose = self._account(actor.account)
        key = (f"login {whose.login}",)
        self._limit(key, table().limits["attempts"])
        if not self._matches(old, whose.password or self._nobody):
            self._fail(key)
            raise SignInFailed(tr("The old password is not the right one."), field="old")
        self.rows.change(whose.id, password=self._hashed(whose.login, new))
        self.rows.end(at=self._now(), account_id=whose.id)
        self.note("password changed", actor.account, actor.device)

    def set_pin(self, actor: Actor, password: str, pin: str) -> None:
        """A PIN for the quick switch, for whoever knows the password."""
        whose = self._account(actor.account)
        key = (f"login {whose.login}",)
        self._limit(key, table().limits["attempts"])
        if not self._matches(password, whose.password or self._nobody):
            self._fail(key)
            raise SignInFailed(tr("The password is not the right one."), field="password")
        low, high = table().limits["pin_digits"]
        if not re.fullmatch(rf"[0-9]{{{low},{high}}}", pin) or len(set(pin)) < 3 or pin in "01234567890 9876543210":
            allowed = tr("{low} to {high} digits, no simple row", low=low, high=high)
            raise InvalidInput(
                tr("This PIN is not taken; allowed: {allowed}.", allowed=allowed), field="pin", allowed=allowed
            )
        self.rows.change(whose.id, pin=self._hasher.hash(pin))
        self.note("PIN set", actor.account, actor.device)

    def trust_device(self, actor: Actor, name: str) -> str:
        """Trust the device that asks: from now on a PIN is enough on it. Gives what the device keeps."""
        token = secrets.token_urlsafe(TOKEN_BYTES)
        device = Device(f"t-{secrets.token_hex(6)}", _line("name", name), actor.account, self._now())
        self.rows.trust(device, _hash(token))
        self.note("device trusted", actor.account, device.id)
        return token

    def trusted(self, token: str | None) -> Device | None:
        """The trusted device that holds this token, while the trust lasts."""
        found = self.rows.device(_hash(token)) if token else None
        if found is None:
            return None
        until = datetime.fromisoformat(found.trusted_at) + timedelta(days=table().limits["trusted_days"])
        return found if self._clock() < until else None

    def with_pin(self) -> list[Account]:
        """Who can switch by PIN."""
        return [one for one in self.rows.all() if one.active and one.pin]

    # -- administration

    def create(self, by: Actor, *, login: str, shown_as: str, roles: tuple[str, ...], subject: str = "") -> str:
        """A new account; gives a password that must be changed at the first sign-in."""
        password = secrets.token_urlsafe(12)
        made = self._new(login, shown_as, roles, ONCE + self._hasher.hash(password), subject.strip() or None)
        self.rows.add(made, at=self._now())
        self.note(f"account created: {made.id}", by.account, by.device)
        return password

    def reset_password(self, by: Actor, account_id: str) -> str:
        """A new password that must be changed at the next sign-in; the PIN and all sessions end."""
        whose = self._account(account_id)
        password = secrets.token_urlsafe(12)
        self.rows.change(whose.id, password=ONCE + self._hasher.hash(password), pin=None)
        self.rows.end(at=self._now(), account_id=whose.id)
        self.note(f"password reset: {whose.id}", by.account, by.device)
        return password

    def set_roles(self, by: Actor, account_id: str, roles: tuple[str, ...]) -> None:
        """Other roles, at once. The last administrator stays one."""
        whose = self._account(account_id)
        _check_roles(roles)
        if "administrator" not in roles:
            self._keep_one_administrator(whose)
        self.rows.change(whose.id, role=" ".join(roles))
        self.note(f"roles of {whose.id}: {' '.join(roles)}", by.account, by.device)

    def set_active(self, by: Actor, account_id: str, active: bool) -> None:
        """Close or open an account; closing ends its sessions."""
        whose = self._account(account_id)
        if not active:
            self._keep_one_administrator(whose)
            self.rows.end(at=self._now(), account_id=whose.id)
        self.rows.change(whose.id, active=int(active))
        self.note(f"account {'opened' if active else 'closed'}: {whose.id}", by.account, by.device)

    def distrust_device(self, by: Actor, device_id: str) -> None:
        """Trust a device no longer; sessions on it end."""
        self.rows.distrust(device_id, at=self._now())
        self.note(f"device no longer trusted: {device_id[:64]}", by.account, by.device)

    def note(
        self,
        action: str,
        account_id: str | None,
        device_id: str | None,
        *,
        case_id: str | None = None,
        outcome: str = "done",
    ) -> None:
        """Keep who did or read what."""
        said = (_plain(action), None if case_id is None else _plain(case_id))
        self.rows.note(Access(self._now(), account_id, device_id, said[0], said[1], outcome))

    # -- helpers

    def _now(self) -> str:
        return self._clock().isoformat()

    def _matches(self, secret: str, kept: str) -> bool:
        return bool(self._hasher.verify(secret, kept.removeprefix(ONCE)))

    def _hashed(self, login: str, password: str) -> str:
        low, high = table().limits["shortest_password"], table().limits["longest_password"]
        weak = len(set(password)) < 5 or password.lower().replace(" ", "") in (login * 8, "forestay" * 3)
        if not low <= len(password) <= high or weak or (login and password.lower().count(login.lower()) > 1):
            allowed = tr("{low} to {high} characters of any kind, not the same few again and again", low=low, high=high)
            raise InvalidInput(
                tr("This password is not taken; allowed: {allowed}.", allowed=allowed),
                field="password",
                allowed=allowed,
            )
        return self._hasher.hash(password)

    def _new(
        self, login: str, shown_as: str, roles: tuple[str, ...], password: str, subject: str | None = None
    ) -> Account:
        name = login.strip().lower()
        if not re.fullmatch(LOGIN, name):
            allowed = tr("2 to 64 small letters, digits, dots, dashes")
            raise InvalidInput(
                tr("login is {value!r}; allowed: {allowed}.", value=login[:64], allowed=allowed),
                field="login",
                value=login[:64],
                allowed=allowed,
            )
        _check_roles(roles)
        return Account(
            f"u-{secrets.token_hex(6)}", name, _line("shown_as", shown_as), roles, password, None, subject, True
        )

    def _account(self, account_id: str) -> Account:
        found = self.rows.find(id=account_id)
        if found is None:
            raise NotFound(tr("There is no such account."), field="account", value=account_id[:64])
        return found

    def _keep_one_administrator(self, leaving: Account) -> None:
        others = [a for a in self.rows.all() if a.active and "administrator" in a.roles and a.id != leaving.id]
        if not others and "administrator" in leaving.roles:
            raise Forbidden(tr("This is the last administrator; make another one first."), field="account")

    def _limit(self, keys: tuple[str, ...], most: int) -> None:
        minutes = table().limits["attempts_minutes"]
        since = (self._clock() - timedelta(minutes=minutes)).isoformat()
        # An address may be that of a whole clinic.
        for key in keys:
            allowed = most * 5 if key.startswith("address ") else most
            if self.rows.failures(key, since=since) >= allowed:
                raise TooManyAttempts(
                    tr("Too many attempts failed; try again in {minutes} minutes.", minutes=minutes), field="password"
                )

    def _fail(self, keys: tuple[str, ...]) -> None:
        for key in keys:
            self.rows.failed(key, at=self._now())


def _check_roles(roles: tuple[str, ...]) -> None:
    known = table().roles
    if not roles or set(roles) - set(known):
        allowed = ", ".join(known)
        raise InvalidInput(
            tr("The roles cannot be {roles}; allowed: {allowed}.", roles=", ".join(roles)[:80] or "-", allowed=allowed),
            field="roles",
            allowed=allowed,
        )


def _hash(token: str) -> bytes:
    return hashlib.sha256(token.encode("utf-8", "replace")).digest()


def _plain(text: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in text)[:200]


def _line(field: str, text: str, longest: int = 80) -> str:
    plain = " ".join(text.split())
    if not plain or len(plain) > longest or not plain.isprintable():
        allowed = tr("1 to {longest} letters", longest=longest)
        raise InvalidInput(tr("{field} is needed: {words}.", field=field, words=allowed), field=field, allowed=allowed)
    return plain
