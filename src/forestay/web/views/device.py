"""This device: what it keeps for the time without network."""

from __future__ import annotations

from dataclasses import dataclass, field

from forestay.web.views.shell import View, told


@dataclass(frozen=True)
class DeviceView(View):
    """The page of this very device; its lists are filled by the browser, which alone knows them."""

    caution: str = field(metadata=told("the standing caution"))
