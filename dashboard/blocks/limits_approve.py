"""Approving the proposals of a study: who, why, and what stays as it is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import streamlit as st

from collector.actions.limits import approve, in_force_already
from collector.actions.limits_confirmed import Confirmed
from collector.actions.limits_replaced import Change
from collector.actions.limits_steady import Steady
from collector.actions.limits_study import Proposed
from collector.contract import quantities
from collector.errors import NotAllowed
from collector.plan import KeyLimits
from dashboard.blocks import acting, signed_in
from dashboard.blocks.alarm_words import ACT
from dashboard.blocks.plain import sentence

FIELDS = tuple(f"approve_{name}" for name in ("not", "why", "cause", "intended", "lasting"))


@dataclass(frozen=True, slots=True)
class Offer:
    """What of a study can be approved now, what waits for a person, and keys in force as they are."""

    ready: list[Proposed]
    waiting: list[Proposed]
    already: list[str]


def show(
    proposals: Sequence[Proposed],
    steady: Steady,
    confirmed: Mapping[str, Confirmed],
    *,
    run: str,
    approved: Mapping[str, KeyLimits],
) -> None:
    """The form; nothing is in force before its button. What is `approved` already by key is not offered."""
    title = f"Approve limits from run {run}"
    if not signed_in.may("approve limits", title):
        return
    offer = _offer(proposals, steady, confirmed, approved)
    if offer.already and not offer.ready:
        st.markdown(f"**{sentence(title)}**")
        st.markdown(_says(offer))
        return
    # Bound to what it shows: pressed for one run, it does nothing for another.
    with st.form(f"approve_limits_{steady.run_id}", border=True):
        st.markdown(f"**:blue[{ACT}] {sentence(title)}**")
        kept, who, why = _fields(offer)
        change = _change() if any(each.key in approved for each in offer.ready) else None
        pressed = st.form_submit_button("Approve these limits", type="primary", disabled=not offer.ready)
    if pressed:
        chosen = [each for each in offer.ready if each.key not in kept]
        _approve(chosen, steady, confirmed, run=run, who=who, why=why, change=change)


def _offer(
    proposals: Sequence[Proposed],
    steady: Steady,
    confirmed: Mapping[str, Confirmed],
    approved: Mapping[str, KeyLimits],
) -> Offer:
    possible = [each for each in proposals if each.limits and (not each.to_confirm or each.key in confirmed)]
    try:
        already = in_force_already(possible, steady, approved, confirmed)
    except NotAllowed:  # a number that was entered is no limit: its refusal is said when it is approved
        already = []
    ready = [each for each in possible if each.key not in already]
    return Offer(ready, [each for each in proposals if each not in possible], already)


def _fields(offer: Offer) -> tuple[list[str], str, str]:
    """Keys that stay as they are, who, and why."""
    st.markdown(_says(offer))
    with st.container(horizontal=True, vertical_alignment="bottom"):
        kept = st.multiselect(
            "Leave as they are", [each.key for each in offer.ready], format_func=quantities.label,
            placeholder="None: approve all", key="approve_not", width=300,
        )  # fmt: skip
        who = signed_in.who("approve_who")
        why = st.text_input("Why this run", key="approve_why", placeholder="no fault found", width=320)
    return kept, who, why


def _change() -> Change | None:
    """Asked where approved limits give way: did the process change, why, on purpose, for good?"""
    st.markdown("Approved limits are in force for this mold, blend and recipe. Did the process change since?")
    with st.container(horizontal=True, vertical_alignment="bottom"):
        cause = st.text_input(
            "What changed it (leave empty if nothing did)", key="approve_cause", width=360,
            placeholder="nothing: the same process, more shots",
        )  # fmt: skip
        intended = st.checkbox("It was meant to, and the discs are good", key="approve_intended")
        lasting = st.checkbox("It will stay so", key="approve_lasting")
    if not (cause.strip() or intended or lasting):
        return None
    return Change(cause=cause, intended=intended, lasting=lasting)


def _says(offer: Offer) -> str:
    every = len(offer.ready) + len(offer.waiting) + len(offer.already)
    said = f"{len(offer.ready)} of {every} can be put in force from the next shot on."
    if offer.already and not offer.ready:
        said = "Nothing is left to approve."
    for words, keys in (
        ("In force already, equal in every number", offer.already),
        ("Not confirmed, so left as they are", [each.key for each in offer.waiting]),
    ):
        if keys:
            said += f" {words}: {', '.join(map(quantities.label, keys))}."
    return said


def _approve(
    chosen: Sequence[Proposed],
    steady: Steady,
    confirmed: Mapping[str, Confirmed],
    *,
    run: str,
    who: str,
    why: str,
    change: Change | None,
) -> None:
    if not why.strip():
        acting.refuse("say in a few words why this run is a sound baseline")
        st.rerun()
    acting.carry_out(
        f"Limits of {len(chosen)} characteristics of run {run} approved by {who}, from the next shot on.",
        approve,
        steady=steady,
        proposals=chosen,
        confirmed=confirmed,
        who=who,
        why=why.strip(),
        change=change,
        clears=FIELDS,
    )
