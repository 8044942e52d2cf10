"""Who is signed in, where the ward has set up sign-in (OpenID Connect)."""

from __future__ import annotations

import streamlit as st

from app.ui import blocks, session_files


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
