"""The kinds of entry and the names of events, each defined once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, get_args

Kind = Literal[
    "volume-reading", "level-check", "setting-check", "order", "event", "skipped-step",
    "correction", "withdrawal", "station-key",
]
EventName = Literal[
    "chamber-emptied", "bag-changed", "drain-closed", "drain-opened", "sample-taken",
    "position-changed", "fluid-seen", "little-output", "person-told", "dressing-seen",
    "drainage-ended",
]

KINDS: tuple[str, ...] = get_args(Kind)
#: Says with which key a station signs; made by the store itself, about no bed.
STATION_KEY = "station-key"
#: Stands in such an entry for the bed, and for the initials.
NO_BED = "*"
#: Kinds that say something of their own at a bed (the next two speak about an earlier entry).
SUBJECTS: tuple[str, ...] = KINDS[:6]
EVENTS: tuple[str, ...] = get_args(EventName)
#: What a machine can say of a photo: the statuses of the measuring side.
MACHINE_STATUSES: tuple[str, ...] = ("read", "refused", "below-scale", "above-scale")

#: Words for people; one place, so that pages, sheets and exports say the same.
WORDS: dict[str, str] = {
    "volume-reading": "chamber reading",
    "level-check": "level check",
    "setting-check": "setting check",
    "order": "order",
    "event": "event",
    "skipped-step": "step skipped",
    "correction": "correction",
    "withdrawal": "withdrawal",
    "station-key": "station key",
    "chamber-emptied": "chamber emptied",
    "bag-changed": "bag changed",
    "drain-closed": "drain closed",
    "drain-opened": "drain opened",
    # A state that was seen is not a change that was made.
    "drain-closed-seen": "drain seen closed",
    "drain-opened-seen": "drain seen open",
    "sample-taken": "sample taken",
    "position-changed": "position changed",
    "fluid-seen": "fluid seen",
    "little-output": "little or no output",
    "person-told": "told",
    "dressing-seen": "dressing and site seen",
    "drainage-ended": "drainage ended",
}


@dataclass(frozen=True)
class Part:
    """Something that an event says: a volume in mL, one of ``choices`` (what is kept -> in
    words), or a line of text.  ``ask`` is the sentence when it is missing but needed."""

    label: str
    choices: Mapping[str, str] | None = None
    volume: bool = False
    ask: str = ""


def _as_said(*words: str) -> dict[str, str]:
    return dict(zip(words, words, strict=True))


#: The trade's plain words for the fluid (common practice, no source).
LOOKS = _as_said("clear", "straw-coloured", "pink", "blood-stained", "bloody", "cloudy")
#: What a person may be told about: the limits of an order by their names, the rest in words.
ABOUT: Mapping[str, str] = {
    "ml_per_hour": "over the hour's limit", "ml_per_six_hours": "over the limit of six hours",
    "ml_per_shift": "over the shift's limit", "nothing_drained_hours": "nothing drained",
    "look": "look of the fluid", "other": "something else"}
#: Why a drain is closed, where that matters.
TRANSPORT = "transport"

#: What each event says beside its detail, in the sequence in which it is asked.
PARTS: Mapping[str, Mapping[str, Part]] = {
    "chamber-emptied": {"before_ml": Part("In the chamber before", volume=True),
                        "after_ml": Part("In the chamber afterwards", volume=True)},
    "sample-taken": {
        "volume_ml": Part("Volume drawn", volume=True),
        "source": Part("Where", {"port": "at the patient's port", "chamber": "from the chamber"},
                       ask="Say where the sample was taken: 'port' or 'chamber'."),
        "tests": Part("Sent for which tests")},
    "drain-closed": {"closed_for": Part("Closed for", {TRANSPORT: "transport"})},
    "fluid-seen": {"look": Part("Look of the fluid", LOOKS, ask="Say how the fluid looks.")},
    "little-output": {"cause": Part("Reason found", _as_said(
        "drain closed", "tubing kinked", "clot or debris seen",
        "patency checked as the local rule says", "level wrong", "none found"),
        ask="Say what was found, or that no reason was found.")},
    "person-told": {
        "about": Part("Told about", ABOUT, ask="Say what was told."),
        "whom": Part("Who was told (a role, no name)", ask="Say who was told."),
        "reply": Part("The answer", ask="Write the answer; 'no answer yet' is one, too.")},
    "dressing-seen": {
        "dressing": Part("Dressing", _as_said("dry and intact", "moist", "loose", "changed"),
                         ask="Say how the dressing is."),
        "site": Part("Site", _as_said("calm", "red", "swollen", "leaking"),
                     ask="Say how the site is.")},
}
#: Every part by its name.
PART_NAMES = tuple(dict.fromkeys(name for parts in PARTS.values() for name in parts))


def event_text(act: str, payload: Mapping[str, object]) -> str:
    """What was done, seen or told, in a few words."""
    def said(name: str) -> str:
        return str(payload.get(name) or "")

    if act == "fluid-seen":
        return f"fluid {said('look')}"
    if act == "little-output":
        return f"{WORDS[act]}, reason: {said('cause')}"
    if act == "person-told":
        about = ABOUT.get(said("about"), said("about"))
        return f"told {said('whom')} ({about}), answer: {said('reply')}"
    if act == "dressing-seen":
        return f"dressing {said('dressing')}, site {said('site')}"
    if payload.get("closed_for") == TRANSPORT:
        return f"{WORDS[act]} for transport"
    return WORDS[act]
