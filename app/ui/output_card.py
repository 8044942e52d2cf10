"""The hour's result on a card: the same on the pages "Round" and "Shift"."""

from __future__ import annotations

from datetime import datetime

from app.exports.account_text import emptied_since, rate_words
from app.ui import blocks
from vision.output import Account, Interval
from vision.output.model import hm


def result_card(account: Account, now: datetime) -> str:
    """What came up to the last reading; the account has intervals."""
    i = account.result
    after = emptied_since(account, now)
    if i is None:  # one reading, then an emptying
        return _card(account.intervals[-1], now, after)
    return _card(i, now, f"then {after}" if after else "")


def _card(i: Interval, now: datetime, after: str) -> str:
    head = f"{hm(i.start, now)} to {hm(i.end, now)}"
    if i.output_ml is None:
        known = f"at least {i.at_least_ml:f} mL" if i.at_least_ml is not None else ""
        return blocks.card(head, "unknown", "", [known, after])
    notes = []
    if i.interval_ml is not None:
        notes.append("95 % interval: {:.1f} to {:.1f} mL".format(*i.interval_ml))
    notes.append(rate_words(i) if i.counted else "NOT counted in the totals, see below")
    if i.samples_ml:
        notes.append(f"and {i.samples_ml:f} mL in samples at the patient's port")
    return blocks.card(head, f"{i.output_ml:f}".replace("-", "\N{MINUS SIGN}"), "mL",
                       [*(n.replace(" -", " \N{MINUS SIGN}") for n in notes), after])
