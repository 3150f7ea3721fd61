"""What another theatre would have for this eye that this one has not."""

from __future__ import annotations

from forestay.plan.setting import Setting
from forestay.text import tr


def found_elsewhere(setting: Setting) -> str | None:
    """What this eye may come to need and is not here, in words; None where nothing is known to be lacking."""
    case = setting.case
    found = []
    if case.theatre.retina_service in ("days", "none"):
        found.append(tr("a vitreous surgeon at the table"))
    if setting.lacks_kit("vitrector"):
        found.append(tr("a vitrector"))
    if setting.weak and setting.lacks_kit("ring-segment"):
        found.append(tr("a ring or segment to be fixed to the sclera"))
    return ", ".join(found) or None
