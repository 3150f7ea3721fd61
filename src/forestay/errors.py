"""Every failure that a person may meet: one class a cause, with the field, the value and what was allowed.

Exit status and web status are looked up from the class here and nowhere else. A message has three parts: what is
wrong, what was expected, and, where it can be said, what to do. No message carries anything that names a person.
"""

from __future__ import annotations

from typing import Any, ClassVar


class ForestayError(Exception):
    """Base of all expected failures."""

    code: ClassVar[str] = "error"
    exit_status: ClassVar[int] = 2
    http_status: ClassVar[int] = 400

    def __init__(
        self, message: str, *, field: str | None = None, value: Any = None, allowed: str | None = None
    ) -> None:
        super().__init__(message)
        self.message = message
        self.field = field
        self.value = value
        self.allowed = allowed

    def as_dict(self) -> dict[str, Any]:
        """The one error shape of command and web: ``{"error": {code, field, value, allowed, message}}``."""
        return {
            "error": {
                "code": self.code,
                "field": self.field,
                "value": self.value,
                "allowed": self.allowed,
                "message": self.message,
            }
        }


class InvalidInput(ForestayError):
    """A value that cannot be: wrong type, unknown word, outside what is possible."""

    code = "invalid-input"
    http_status = 422


class MissingInput(ForestayError):
    """A key that this calculation needs is absent."""

    code = "missing-input"
    http_status = 422


class UnknownKey(ForestayError):
    """A key that nobody asked for: refused, since a misspelt finding would otherwise be lost in silence."""

    code = "unknown-key"
    http_status = 422


class UnreadableFile(ForestayError):
    """The file is empty, not text, or not in a format that is read here."""

    code = "unreadable-file"


class NotFound(ForestayError):
    """No calculation, case or page of that name."""

    code = "not-found"
    http_status = 404


class EvidenceError(ForestayError):
    """A row of evidence is missing or badly written: a fault of the installation, not of the user."""

    code = "evidence"
    http_status = 500


class RefusedFinding(ForestayError):
    """A plausibility check found a value that must not be planned upon."""

    code = "refused"
    http_status = 422


class ConflictingFact(ForestayError):
    """The same fact identity arrived with other content."""

    code = "conflicting-fact"
    http_status = 409


class BrokenChain(ForestayError):
    """A kept record was changed after it was accepted."""

    code = "broken-chain"
    http_status = 409
