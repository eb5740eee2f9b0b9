"""The shots of a study under the proposed limits, drawn as on the press page."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
import streamlit as st

from collector.actions.limits_steady import Steady
from collector.actions.limits_study import Proposed
from collector.contract import quantities
from collector.plan import drawn_limits
from dashboard.blocks.limits_trial import Outcome
from dashboard.blocks.press_charts import themed
from dashboard.blocks.press_words import shot_label
from dashboard.charts.characteristic import characteristic
from dashboard.charts.time_axis import shop_times
from dashboard.queries import database


def show(each: Proposed, steady: Steady, outcomes: Sequence[Outcome], *, unit: str | None = None) -> None:
    """Every steady shot of the run; a diamond where it would have signaled, a ring where left out."""
    shots = _shots(each, steady, outcomes)
    bounds = (shots["at"].min(), shots["at"].max())
    empty = pd.DataFrame({"at": [], "until": [], "value": []})
    st.altair_chart(
        themed(
            characteristic(
                shots, key=each.key, unit=unit, bounds=bounds, limits=_lines(each, bounds), setpoints=empty,
                holds=empty,
            )
        ),
        key=f"limits_shots_{each.key}",
        alt=f"{quantities.label(each.key)} of every steady shot of the run under the proposed limits",
    )  # fmt: skip


def _shots(each: Proposed, steady: Steady, outcomes: Sequence[Outcome]) -> pd.DataFrame:
    frame = steady.frame
    at = shop_times(frame["ended_at"], database.zone())
    signaled = {shot_id for one in outcomes if not one.later for shot_id in one.shot_ids}
    return pd.DataFrame({
        "id": frame["id"], "at": at, "value": frame[each.key],
        "phase": np.where(frame["id"].isin(each.left_out), "startup", "charted"),
        "label": [shot_label(counter, when) for counter, when in zip(frame["counter"], at, strict=True)],
        "signal": np.where(frame["id"].isin(signaled), "would have signaled", ""),
    }).dropna(subset="value")  # fmt: skip


def _lines(each: Proposed, bounds: tuple[pd.Timestamp, pd.Timestamp]) -> pd.DataFrame:
    columns = ["at", "until", "lower", "center", "upper", "standing"]
    lines = drawn_limits(each.limits.charts) if each.limits else None
    if lines is None or each.limits is None:
        return pd.DataFrame(columns=columns)
    row = (*bounds, lines.lower, lines.center, lines.upper, each.limits.standing)
    return pd.DataFrame([row], columns=columns)
