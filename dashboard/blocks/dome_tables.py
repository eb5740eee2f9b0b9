"""Frames for the charts and tables of the dome page. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from collector.contract import quantities
from collector.settings import Tolerance
from dashboard.blocks import dome_words
from dashboard.blocks.disc_words import joined, place
from dashboard.charts.dome import FLAGGED, UNFLAGGED
from dashboard.queries.dome import tolerance_of
from rules.dome import welch
from rules.dome.effect import Effect
from rules.dome.skill import Skill, assess, out_of_tolerance

MOST_RUNS = 6  # side by side they stay readable on a tablet
FEWEST_FOR_INTERVAL = 5

Tolerances = Mapping[str, Mapping[str, Tolerance]]
Bools = npt.NDArray[np.bool_]


def groups(discs: pd.DataFrame, flagged: Bools) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Points and means for the chart: the newest runs, those with both kinds of discs first, in order."""
    discs = discs.assign(group=np.where(flagged, FLAGGED, UNFLAGGED)).sort_values("shot_id", kind="stable")
    frame = pd.DataFrame({
        "value": discs["value"],
        "group": discs["group"],
        "series": [_series(run, mold) for run, mold in zip(discs["run"], discs["mold"], strict=True)],
        "disc": [_disc(row) for row in discs.to_dict("records")],
    })  # fmt: skip
    kinds = frame.groupby("series", sort=False)["group"].nunique()
    # Stable: of runs with as many kinds the newest stay last, and the last ones are shown.
    chosen = kinds.sort_values(kind="stable").index[-MOST_RUNS:]
    frame = frame[frame["series"].isin(chosen)]
    rows = [_mean(names, part["value"].to_numpy(float)) for names, part in frame.groupby(["series", "group"])]
    return frame, pd.DataFrame(rows)


def _series(run: Any, mold: Any) -> str:
    return joined((run if isinstance(run, str) else "no run", mold if isinstance(mold, str) else None))


def _mean(names: tuple[object, ...], values: npt.NDArray[np.float64]) -> dict[str, object]:
    interval = welch.mean(values) if len(values) >= FEWEST_FOR_INTERVAL else None
    return {
        "series": names[0], "group": names[1], "n": len(values), "mean": float(values.mean()),
        "low": interval and interval.low, "high": interval and interval.high,
    }  # fmt: skip


def common_limits(discs: pd.DataFrame, tolerances: Tolerances, characteristic: str) -> list[float]:
    """Tolerance limits to draw: only where all molds on the chart share them."""
    found = {tolerance_of(tolerances, mold, characteristic) for mold in _molds(discs)}
    if len(found) != 1 or (one := found.pop()) is None:
        return []
    return [limit for limit in (one.low, one.high) if limit is not None]


def judge(
    discs: pd.DataFrame, tolerances: Tolerances, characteristic: str, sigma: float | None
) -> tuple[Bools, list[bool | None]] | None:
    """Which discs have a tolerance, and which of those are out; None when no disc has one."""
    by_mold = {mold: tolerance_of(tolerances, mold, characteristic) for mold in _molds(discs)}
    mine = [by_mold[mold] for mold in _mold_names(discs)]
    known = np.array([each is not None for each in mine], dtype=bool)
    if not known.any():
        return None
    out = [
        out_of_tolerance([value], low=each.low, high=each.high, gauge_sigma=sigma)[0]
        for value, each in zip(discs["value"], mine, strict=True)
        if each is not None
    ]
    return known, out


def _molds(discs: pd.DataFrame) -> set[str | None]:
    return set(_mold_names(discs))


def _mold_names(discs: pd.DataFrame) -> list[str | None]:
    return [mold if isinstance(mold, str) else None for mold in discs["mold"]]


def skill_rows(
    discs: pd.DataFrame, flagged: Bools, out: Sequence[bool | None], by_key: Mapping[str, Sequence[bool]],
    known: Bools,
) -> list[tuple[str, Skill]]:  # fmt: skip
    """Skill of all flags together, then of each characteristic that flagged."""
    lead = [None if np.isnan(hours) else float(hours) for hours in discs["lead_h"]]
    rows = [("Any flag", assess(list(flagged), out, lead))]
    for key, flags in by_key.items():
        mine = [flag for flag, has in zip(flags, known, strict=True) if has]
        rows.append((quantities.label(key), assess(mine, out, lead)))
    return rows


def skill_table(rows: Sequence[tuple[str, Skill]]) -> pd.DataFrame:
    """Skill in words: counts with their intervals, or why there are none."""
    return pd.DataFrame([
        {
            "Flag": name, "Out of tolerance, flagged": dome_words.rate(skill.foretold),
            "Flagged, within tolerance": dome_words.rate(skill.false),
            "Before the gauge": dome_words.lead(skill) or "no such disc",
        }
        for name, skill in rows
    ]).set_index("Flag")  # fmt: skip


def effect_points(effects: Sequence[Effect], characteristic: str, unit: str) -> pd.DataFrame:
    """Effects that have a number, for the chart."""
    return pd.DataFrame([
        {
            "name": quantities.label(each.key), "estimate": spread.estimate, "low": spread.low,
            "high": spread.high, "certainty": each.certainty,
            "slope": dome_words.effect(each, characteristic, unit),
        }
        for each in effects
        if (spread := each.over_spread) is not None
    ])  # fmt: skip


def effect_table(effects: Sequence[Effect], characteristic: str, unit: str) -> pd.DataFrame:
    """Every effect in words, also those that have no number."""
    return pd.DataFrame([
        {
            "Characteristic": quantities.label(each.key),
            "Effect": dome_words.effect(each, characteristic, unit) if each.slope is not None else "not said",
            "Certainty": ": ".join((dome_words.CERTAINTY[each.certainty], *each.reasons)), "Discs": each.n,
        }
        for each in effects
    ]).set_index("Characteristic")  # fmt: skip


def apart_table(apart: pd.DataFrame, characteristic: str) -> pd.DataFrame:
    """Readings that are left out."""
    return pd.DataFrame([
        {
            "Disc": _disc(row), "Run": row["run"],
            "Reading": quantities.format_value(characteristic, row["value"], row["unit"]),
            "Age, h": None if pd.isna(row["age_h"]) else round(float(row["age_h"]), 1), "Why": row["reason"],
        }
        for row in apart.to_dict("records")
    ])  # fmt: skip


def _disc(row: Mapping[Any, Any]) -> str:
    """Press, shot and place of a disc, as far as they are known."""
    press, tray = (None if pd.isna(row[name]) else str(row[name]) for name in ("press", "tray"))
    counter, position = (
        None if pd.isna(row[name]) else int(row[name]) for name in ("counter", "tray_position")
    )
    shot = None if counter is None else f"shot {counter:,}"
    return joined((press, shot, None if tray is None else place(tray, position))) or "not joined"
