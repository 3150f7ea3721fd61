"""A receiver of DICOM objects (C-STORE, PS3.4 annex B): what is not understood is refused, so that the sender knows it.

An association is refused where none of what it offers is read here, where the called title is not ours, or where the caller
is not on the list. An object is answered with success only after it is kept whole.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from typing import Any

from forestay.errors import ForestayError, InvalidInput
from forestay.exchange.dicom_file import LARGEST_BYTES, PLAIN_SYNTAXES
from forestay.exchange.dicom_terms import READ
from forestay.text import tr

VERIFICATION = "1.2.840.10008.1.1"
SUCCESS, NO_RESOURCES, NOT_OF_CLASS, NOT_UNDERSTOOD = 0x0000, 0xA700, 0xA900, 0xC000
"""Status of PS3.4 table B.2-1."""
REJECTED_FOR_GOOD, BY_USER, NO_REASON = 1, 1, 1
"""Result, source and reason of PS3.8 section 9.3.4."""
LONGEST_TITLE = 16
SECONDS = 30
SERVER_TROUBLE = 500
MOST_AT_ONCE = 10

Handle = Callable[[bytes, str], str]
"""Keeps the bytes of an object, given a name for messages, and says what it did; raises where it cannot."""
Tell = Callable[[str], None]


class Receiver:
    """Listens until it is stopped. ``handle`` is called for one object at a time."""

    def __init__(self, handle: Handle, tell: Tell, *, title: str, callers: Sequence[str] = ()) -> None:
        from pynetdicom import AE

        for one in (title, *callers):
            _check_title(one)
        self._handle, self._tell = handle, tell
        self._one_at_a_time = threading.Lock()
        self._entity = AE(ae_title=title)
        self._entity.require_called_aet = True
        self._entity.require_calling_aet = list(callers)
        self._entity.maximum_associations = MOST_AT_ONCE
        self._entity.acse_timeout = self._entity.dimse_timeout = self._entity.network_timeout = SECONDS
        for kind in (VERIFICATION, *READ):
            self._entity.add_supported_context(kind, list(PLAIN_SYNTAXES))
        self._server: Any = None

    def start(self, host: str, port: int) -> int:
        """Listen in threads of its own; the port that it listens at."""
        from pynetdicom import evt

        handlers: list[Any] = [
            (evt.EVT_REQUESTED, self._asked),
            (evt.EVT_C_STORE, self._arrived),
            (evt.EVT_C_ECHO, _echo),
        ]
        try:
            self._server = self._entity.start_server((host, port), block=False, evt_handlers=handlers)
        except OSError as wrong:
            raise InvalidInput(
                tr("Port {port} cannot be used: {why}.", port=port, why=wrong.strerror or str(wrong)),
                field="port",
                value=port,
                allowed=tr("a free port; below 1024 only with more rights"),
            ) from None
        return int(self._server.server_address[1])

    def stop(self) -> None:
        """End listening and all associations."""
        self._entity.shutdown()

    def _asked(self, event: Any) -> None:
        """Refuse an association of which nothing would be read."""
        association = event.assoc
        offered = {
            str(one.abstract_syntax) for one in association.requestor.primitive.presentation_context_definition_list
        }
        if not offered & {VERIFICATION, *READ}:
            association.acse.send_reject(REJECTED_FOR_GOOD, BY_USER, NO_REASON)
            association.kill()
            self._tell(tr("An association was refused: nothing that it offers is read here."))

    def _arrived(self, event: Any) -> int:
        """Keep one object, and say how that went."""
        name = tr("an object from {caller}", caller=_printable(event.assoc.requestor.ae_title))
        try:
            data = event.encoded_dataset()
            if str(event.request.AffectedSOPClassUID) not in READ or len(data) > LARGEST_BYTES:
                return NOT_OF_CLASS
            with self._one_at_a_time:
                self._tell(self._handle(data, name))
        except ForestayError as wrong:
            self._tell(tr("Refused: {why}", why=wrong.message))
            return NO_RESOURCES if wrong.http_status >= SERVER_TROUBLE else NOT_UNDERSTOOD
        except Exception as wrong:  # noqa: BLE001 - the sender must hear that nothing was kept, whatever failed
            self._tell(tr("Refused: {why}", why=type(wrong).__name__))
            return NO_RESOURCES
        return SUCCESS


def _echo(_: Any) -> int:
    return SUCCESS


def _printable(title: str) -> str:
    return "".join(c for c in title.strip() if c.isprintable())[:LONGEST_TITLE]


def _check_title(title: str) -> None:
    if not 0 < len(title.strip()) <= LONGEST_TITLE or not title.isascii() or not title.isprintable() or "\\" in title:
        raise InvalidInput(
            tr("A title has 1 to 16 plain letters; this one is {title!r}.", title=title[:40]),
            field="title",
            value=title[:40],
            allowed=tr("1 to 16 plain letters"),
        )
