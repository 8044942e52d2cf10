"""What the cameras of each session's page are pointed at, for looks at their live pictures."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from streamlit import runtime
from streamlit.runtime.scriptrunner import get_script_run_ctx

from vision.level.aim import aim_at_cards
from vision.scale_file.scale import Scale
from vision.volume.aim import aim_at_chamber

#: Where looks are asked for (``app.entry.aim``); what :func:`point` returns follows.
AIM_PATH = "/countersight/aim/"


@dataclass(frozen=True)
class Target:
    """A function of ``vision`` that looks at one frame, and what it has to know besides;
    ``tilted`` for one that takes where down is.  ``what`` names what is looked for: a page may
    have a camera for each."""

    what: str
    function: Callable[..., Any]
    args: tuple[Any, ...] = ()
    tilted: bool = False


_targets: dict[tuple[str, str], Target] = {}


def chamber(scale: Scale) -> Target:
    """The marks of this scale."""
    return Target("chamber", aim_at_chamber, (scale,))


def cards() -> Target:
    """The two cards of the level."""
    return Target("cards", aim_at_cards, tilted=True)


def point(target: Target | None) -> str:
    """A camera of this run's session looks at ``target``; returns where its looks are asked for.

    "" without a target, and where there is no page server.  Sessions that are over are
    forgotten on the way.
    """
    context = get_script_run_ctx()
    if context is None or not runtime.exists():
        return ""
    server = runtime.get_instance()
    for key in [k for k in list(_targets) if not server.is_active_session(k[1])]:
        _targets.pop(key, None)
    if target is None:
        return ""
    _targets[target.what, context.session_id] = target
    return f"{target.what}/{context.session_id}"


def of(what: str, session: str) -> Target | None:
    """What a session's camera that looks for ``what`` is pointed at."""
    return _targets.get((what, session))
