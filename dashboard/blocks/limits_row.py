"""One characteristic of a study: the proposal, its cost, what it would have signaled, what to know."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any
from zlib import crc32

import streamlit as st

from collector.actions.limits_confirmed import Confirmed, within
from collector.actions.limits_steady import Steady
from collector.actions.limits_study import Proposed
from collector.contract import quantities, unit_names
from dashboard.blocks import limits_shots, limits_words
from dashboard.blocks.alarm_words import ACT, SIGNAL
from dashboard.blocks.limits_trial import Outcome
from dashboard.blocks.limits_words import rate
from dashboard.blocks.plain import sentence

LEFT_OUT = "limits_left_out"
UNKNOWN_DIGITS = 4  # of a quantity that the table does not know


def left_out(run_id: int, key: str) -> tuple[int, ...]:
    """Ids of the shots that this person leaves out of a characteristic."""
    chosen: dict[tuple[int, str], set[int]] = st.session_state.setdefault(LEFT_OUT, {})
    return tuple(sorted(chosen.get((run_id, key), ())))


def as_entered(each: Proposed, steady: Steady) -> Proposed:
    """The proposal with the band that the person has entered on this page, where that is one."""
    if each.proposal.band is None or each.limits is None:
        return each
    lower, upper = (st.session_state.get(_asked(each, steady, name)) for name in ("lowest", "highest"))
    if lower is None or upper is None or not lower < upper:
        return each
    return replace(each, limits=within(each.limits, _entered(each, lower, upper)))


def show(
    each: Proposed,
    steady: Steady,
    outcomes: Sequence[Outcome],
    *,
    unit: str | None = None,
    now: Any = None,
) -> Confirmed | None:
    """Draw the row, the limits in force `now` (a row of `limits`) beside the proposed ones.

    Returns
    -------
    Confirmed or None
        What the person confirmed of it.
    """
    with st.container(border=True, key=f"limits_row_{each.key.replace('.', '_')}", gap="small"):
        wanted = _head(each, steady, outcomes)
        must, routine = limits_words.to_know(each, steady)
        proposal, cost, trial = st.columns([5, 5, 4], gap="medium")
        with proposal:
            _proposal(each, steady, unit)
            if now is not None:
                st.markdown(f":small[{limits_words.now_words(now, unit)}]")
        with cost:
            _cost(each, steady, unit)
        with trial:
            _trial(outcomes)
        if must:
            st.markdown(f"To know: {' '.join(must)}")
        confirmed = _confirm(each, steady, unit)
        _outliers(each, steady, unit)
        if wanted:
            st.markdown("\n".join(f"- {note}" for note in routine))
            limits_shots.show(as_entered(each, steady), steady, outcomes, unit=unit)
    return confirmed


def _head(each: Proposed, steady: Steady, outcomes: Sequence[Outcome]) -> bool:
    """Name and marks; whether the person wants to see more."""
    with st.container(horizontal=True, vertical_alignment="center", gap="small"):
        st.markdown(f"**{quantities.label(each.key)}**", width="content")
        standing = each.limits.standing if each.limits else "no limits yet"
        st.badge(standing, color="gray")
        if each.to_confirm and each.limits:
            st.badge(f"{ACT} must be confirmed", color="blue")
        elif each.to_confirm:
            st.badge(f"{ACT} find the cause", color="blue")
        signaled = sum(len(one.shot_ids) for one in outcomes)
        if signaled:
            words = "shot" if signaled == 1 else "shots"
            st.badge(f"{SIGNAL} {signaled:,} {words} would have signaled", color="yellow")
        if each.study is None:
            return False
        return st.toggle("Show the shots and the study", key=f"limits_more_{steady.run_id}_{each.key}")


def _proposal(each: Proposed, steady: Steady, unit: str | None) -> None:
    st.markdown(limits_words.with_counters(each.proposal.why, steady))
    if each.limits is not None:
        lines = [limits_words.chart_words(each.key, chart, unit) for chart in each.limits.charts]
        st.markdown("\n".join(f"- {line}" for line in lines))
        base = each.limits.baseline
        level = quantities.format_value(each.key, base.center, unit)
        if base.n:
            sigma = limits_words.amount(each.key, base.sigma, unit)
            rests = limits_words.rests_on(each)
            st.markdown(f":small[Center {level}, sigma {sigma}. Rests on {rests}.]")


def _cost(each: Proposed, steady: Steady, unit: str | None) -> None:
    if each.limits is None or each.proposal.kind == "setting":
        return
    st.markdown(f"False alarms: {rate(each.proposal.false_alarms_per_shift)}.")
    rows = limits_words.delay_rows(each, steady.floor.cycle_time_s, unit)
    if rows:
        name = quantities.label(each.key)
        st.table(rows, alt=f"Mean delay until a lasting shift of {name} signals", hide_index=True)


def _trial(outcomes: Sequence[Outcome]) -> None:
    if not outcomes:
        return
    st.markdown("Would have signaled:")
    st.markdown("\n".join(f"- {_outcome(one)}" for one in _told(outcomes)))


def _told(outcomes: Sequence[Outcome]) -> list[Outcome]:
    """The run studied, then the later ones with a signal; those without are told together."""
    quiet = [one for one in outcomes if one.later and not one.shot_ids]
    told = [one for one in outcomes if not one.later or one.shot_ids]
    if len(quiet) < 2:
        return list(outcomes)
    judged = sum(one.judged for one in quiet)
    together = Outcome(run=f"{len(quiet)} later runs", later=True, judged=judged, shot_ids=(), counters=())
    return [*told, together]


def _outcome(one: Outcome) -> str:
    whose = f"{sentence(one.run)}, {'' if one.later else 'its last '}{one.judged:,} shots"
    if not one.shot_ids:
        return f"{whose}: none"
    counters = [f"{each:,}" for each in one.counters if each is not None]
    shots = f" (shots {limits_words.listed(counters)})" if counters else ""
    return f"{SIGNAL} {whose}: {len(one.shot_ids):,}{shots}"


def _confirm(each: Proposed, steady: Steady, unit: str | None) -> Confirmed | None:
    """What only a person can say; a band with its numbers, to be accepted or changed."""
    if not each.to_confirm:
        return None
    st.markdown(f":blue[{ACT}] {limits_words.with_counters(each.proposal.confirm, steady)}")
    if each.limits is None:
        return None
    with st.container(horizontal=True, vertical_alignment="bottom"):
        entered = _band(each, steady, unit)
        said = "The product is good within this band" if entered else "The cause is found and gone"
        if each.proposal.kind == "setting":
            said = "This is the qualified setting"
        agreed = st.checkbox(said, key=_asked(each, steady, "agreed"))
    return (entered or Confirmed()) if agreed else None


def _asked(each: Proposed, steady: Steady, what: str) -> str:
    """Key of an input; another suggestion asks anew, since what was said before was about other numbers."""
    suggestion = f"{crc32(each.proposal.confirm.encode()):x}"
    return f"limits_{what}_{suggestion}_{steady.run_id}_{each.key}"


def _band(each: Proposed, steady: Steady, unit: str | None) -> Confirmed | None:
    band = each.proposal.band
    if band is None:
        return None
    quantity = quantities.find(each.key)
    digits = _digits(each.key)
    symbol = unit_names.symbol(quantity.unit if quantity else unit or "")
    step, shown = 10.0**-digits, f"%.{digits}f"
    lower, upper = (
        st.number_input(
            f"{name}, {symbol}", value=round(value, digits), step=step, format=shown, width=150,
            key=_asked(each, steady, name.lower()),
        )
        for name, value in (("Lowest", band.lower), ("Highest", band.upper))
    )  # fmt: skip
    return _entered(each, lower, upper)


def _entered(each: Proposed, lower: float, upper: float) -> Confirmed:
    """What the numbers on the page say; the suggestion as it is where they are its own, rounded."""
    band, digits = each.proposal.band, _digits(each.key)
    assert band is not None
    same = (lower, upper) == (round(band.lower, digits), round(band.upper, digits))
    return Confirmed() if same else Confirmed(lower=lower, upper=upper)


def _digits(key: str) -> int:
    quantity = quantities.find(key)
    return quantity.decimals if quantity else UNKNOWN_DIGITS


def _outliers(each: Proposed, steady: Steady, unit: str | None) -> None:
    """Shots that stand out: part of the baseline until a person leaves them out."""
    found = limits_words.outlier_words(each, steady, unit)
    if not found:
        return
    few = len(found) <= limits_words.NAMED
    title = f"{len(found)} shots stand out, {len(each.left_out)} of them left out"
    key = f"limits_outliers_{steady.run_id}_{each.key}"
    with st.container(gap="xsmall") if few else st.expander(title, key=key):
        if few:
            st.markdown(":small[These shots stand out. They count, unless you leave them out:]")
        else:
            st.button(
                "Leave out all", key=f"limits_out_all_{steady.run_id}_{each.key}",
                on_click=_leave_out, args=(steady.run_id, each.key, tuple(found)),
            )  # fmt: skip
        for shot_id, words in found.items():
            box = _box(steady.run_id, each.key, shot_id)
            st.session_state.setdefault(box, shot_id in each.left_out)
            st.checkbox(
                f"Leave out. {words}", key=box, on_change=_toggle, args=(steady.run_id, each.key, shot_id)
            )


def _leave_out(run_id: int, key: str, shot_ids: tuple[int, ...]) -> None:
    chosen: dict[tuple[int, str], set[int]] = st.session_state.setdefault(LEFT_OUT, {})
    chosen.setdefault((run_id, key), set()).update(shot_ids)
    for shot_id in shot_ids:
        st.session_state[_box(run_id, key, shot_id)] = True


def _box(run_id: int, key: str, shot_id: int) -> str:
    return f"limits_out_{run_id}_{key}_{shot_id}"


def _toggle(run_id: int, key: str, shot_id: int) -> None:
    chosen: dict[tuple[int, str], set[int]] = st.session_state.setdefault(LEFT_OUT, {})
    chosen.setdefault((run_id, key), set()).symmetric_difference_update({shot_id})
