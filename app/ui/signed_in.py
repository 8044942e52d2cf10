"""Who is signed in, where the ward has set up sign-in (OpenID Connect)."""

from __future__ import annotations

import streamlit as st

from app.ui import blocks, session_files

#: In the address of the sign-in: why the last one failed (:mod:`app.entry.sign_in_answers`).
WHY, REFUSED, NO_ANSWER = "sign-in", "refused", "no-answer"
_WORDS = {
    REFUSED: ("The sign-in did not let you in: it was refused or given up, or it took too long.",
              "Try once more; if it stays so, tell whoever looks after the accounts."),
    NO_ANSWER: ("The sign-in service does not answer.",
                "Try again in a minute. What you read meanwhile can be entered later, with the "
                "time at which you read it."),
}


def identity() -> str | None:
    """Who is signed in, for the record; None where sign-in is not set up.

    Subject and issuer: the only claims that stay one person's for good
    (OpenID Connect Core 1.0, section 5.7).
    """
    claims = st.user.to_dict()
    if not claims.get("is_logged_in"):
        return None
    return f"{claims.get('sub', '')} at {claims.get('iss', '')}"


def let_in() -> bool:
    """True when the page may be shown; else the sign-in is shown in its place."""
    claims = st.user.to_dict()
    if "is_logged_in" not in claims:
        session_files.admit()
        return True  # not set up: one person at this machine, or knowingly left open
    if not claims["is_logged_in"] or not claims.get("sub"):
        blocks.title("Countersight", "Sign in to see and to confirm anything.")
        session_files.dismiss()
        why = _WORDS.get(st.query_params.get(WHY, ""))
        if why is not None:
            blocks.notice("You are not signed in", why, stop=True)
        st.button("Sign in", key="sign-in", type="primary", on_click=st.login)
        blocks.caution_box()
        return False
    with st.container(key="signed-in", horizontal=True, vertical_alignment="center"):
        blocks.say(f"Signed in as {_shown(claims)}.")
        st.button("Sign out", key="sign-out", on_click=st.logout)
    session_files.admit()
    return True


def _shown(claims: dict) -> str:  # type: ignore[type-arg]
    """A name that the person knows; the record takes :func:`identity`."""
    for claim in ("preferred_username", "email", "name", "sub"):
        if claims.get(claim):
            return str(claims[claim])
    return "somebody"
