"""Plain values as a TOML file (TOML 1.0): tables, lists of tables, lists, words, numbers, days."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import date
from typing import Any


def toml_text(told: Mapping[str, Any]) -> str:
    """The file; what is None is left out.

    >>> print(toml_text({"a": 1, "t": {"b": ["x"]}, "i": [{"c": 0.5}]}), end="")
    a = 1
    <BLANKLINE>
    [t]
    b = ["x"]
    <BLANKLINE>
    [[i]]
    c = 0.5
    """
    lines = [f"{name} = {_value(value)}" for name, value in told.items() if not _is_table(value) and value is not None]
    for name, value in told.items():
        for row in value if isinstance(value, list | tuple) and _is_table(value) else [value]:
            if not isinstance(row, Mapping):
                continue
            head = f"[{name}]" if row is value else f"[[{name}]]"
            lines += ["", head, *(f"{key} = {_value(inner)}" for key, inner in row.items() if inner is not None)]
    return "\n".join(lines).lstrip("\n") + "\n"


def _is_table(value: Any) -> bool:
    if isinstance(value, Mapping):
        return True
    return isinstance(value, list | tuple) and bool(value) and all(isinstance(row, Mapping) for row in value)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_value(one) for one in value) + "]"
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {_value(inner)}" for key, inner in value.items() if inner is not None) + " }"
    # A basic string: JSON's escapes are TOML's, but for DEL, which TOML asks to be escaped.
    return json.dumps(str(value), ensure_ascii=False).replace("\x7f", "\\u007f")
