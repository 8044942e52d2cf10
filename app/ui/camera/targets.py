"""What each session's camera is pointed at, for looks at its live picture."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from streamlit import runtime
from streamlit.runtime.scriptrunner import get_script_run_ctx

from vision.level.aim import aim_at_cards
from vision.scale_file.scale import Scale
from vision.volume.aim import aim_at_chamber

#: Where looks are asked for (``app.entry.aim``); the session's name follows.
AIM_PATH = "/countersight/aim/"


@dataclass(frozen=True)
class Target:
    """A function of ``vision`` that looks at one frame, and what it has to know besides;
    ``tilted`` for one that takes where down is."""

    function: Callable[..., Any]
    args: tuple[Any, ...] = ()
    tilted: bool = False


_targets: dict[str, Target] = {}


def chamber(scale: Scale) -> Target:
    """The marks of this scale."""
    return Target(aim_at_chamber, (scale,))


def cards() -> Target:
    """The two cards of the level."""
    return Target(aim_at_cards, tilted=True)


def point(target: Target | None) -> str:
    """The camera of this run's session looks at ``target``; returns the session's name.

    "" where there is no page server.  Sessions that are over are forgotten on the way.
    """
    context = get_script_run_ctx()
    if context is None or not runtime.exists():
        return ""
    server = runtime.get_instance()
    for session in [s for s in list(_targets) if not server.is_active_session(s)]:
        _targets.pop(session, None)
    if target is None:
        _targets.pop(context.session_id, None)
    else:
        _targets[context.session_id] = target
    return context.session_id


def of(session: str) -> Target | None:
    """What the camera of a session is pointed at."""
    return _targets.get(session)
