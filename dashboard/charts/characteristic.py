"""One characteristic over time: shots, limits, setpoint, signals and holds. No Streamlit in here."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from collector.contract import quantities
from collector.contract.unit_names import symbol
from dashboard.charts.palette import ACT, CENTER, DOT, EDGE, LINE, SIGNAL
from dashboard.charts.thinning import thin
from dashboard.charts.time_axis import PADDING, heading, time_axis

HEIGHT = 200
SELECTION = "shot"
WORD = 0.12  # part of the time axis that lies under the longest word beside a limit
Bounds = tuple[pd.Timestamp, pd.Timestamp]
Layers = alt.LayerChart | alt.FacetChart  # what altair says that it returns for a layered chart


def characteristic(
    shots: pd.DataFrame,
    *,
    key: str,
    bounds: Bounds,
    limits: pd.DataFrame,
    setpoints: pd.DataFrame,
    holds: pd.DataFrame,
    unit: str | None = None,
    height: int = HEIGHT,
    time_labels: bool = True,
) -> Layers:
    """Chart of one characteristic.

    Parameters
    ----------
    shots : DataFrame
        Columns id, at (shop time), phase, signal (text of the rules met, empty for none), label (what a
        pointer shows first), and `value` in the canonical unit.
    key : str
        Quantity key.
    bounds : tuple of Timestamp
        Start and end of the time axis.
    limits : DataFrame
        One row a version in force: at, until, lower, center, upper (NaN where there is none), standing.
    setpoints : DataFrame
        Steps of the setpoint: at, until, value.
    holds : DataFrame
        Stretches on hold: at, until.
    unit : str, optional
        Unit of a key that the quantities table does not know.
    height : int
        Of plot, heading and axis together.
    time_labels : bool
        Off where a chart with the same axis stands right below.

    Returns
    -------
    LayerChart
        With a point selection named "shot" on the field `id`.
    """
    points = thin(shots, "value", keep=shots["signal"] != "")
    points = points.assign(written=[quantities.format_value(key, value, unit) for value in points["value"]])
    x = time_axis(*bounds, labels=time_labels)
    y = value_axis(axis_title(key, unit), scatters=points["value"].nunique() > 1)
    layers = [
        *_hold_layers(holds, x),
        *_limit_layers(limits, x, y, key, unit),
        *_end_label(limits, points, x, y, span=WORD * (bounds[1] - bounds[0])),
        *_setpoint_layers(setpoints, x, y, key, unit),
        *_point_layers(points, x, y),
    ]
    return alt.layer(*layers).properties(height=height, padding=PADDING)


def axis_title(key: str, unit: str | None = None) -> str:
    """Name and unit, as in ``Mold core temperature (°C)``."""
    written = symbol(quantities.unit(key) or unit or "")
    name = quantities.label(key)
    return f"{name} ({written})" if written else name


def value_axis(title: str, *, scatters: bool = True) -> alt.Y:
    """The y encoding of column `value`, with its title as the heading of the chart."""
    # Between equal ends the browser would count in millionths: "10.000000".
    fine: dict[str, Any] = {} if scatters else {"format": ".6~g"}
    axis = alt.Axis(tickCount=4, gridOpacity=0.35, **fine, **heading(title))
    # Room above and below the outermost line for the word beside it.
    return alt.Y("value:Q", axis=axis, scale=alt.Scale(zero=False, nice=False, padding=18))


def _hold_layers(holds: pd.DataFrame, x: alt.X) -> list[alt.Chart]:
    if holds.empty:
        return []
    chart = alt.Chart(holds).encode(x=x, x2="until:T", tooltip=alt.value("on hold"))
    return [
        chart.mark_rect(color=ACT, opacity=0.10),
        chart.mark_rule(color=ACT, strokeWidth=9).encode(y=alt.value("height")),
    ]


def _limit_layers(limits: pd.DataFrame, x: alt.X, y: alt.Y, key: str, unit: str | None) -> list[alt.Chart]:
    if limits.empty:
        return []
    lines = limits.melt(
        id_vars=["at", "until", "standing"],
        value_vars=["lower", "upper"],
        var_name="side",
        value_name="value",
    ).dropna(subset="value")
    centers = limits.assign(value=limits["center"]).dropna(subset="value")
    center = alt.Chart(centers).mark_rule(color=CENTER, strokeWidth=1).encode(x=x, x2="until:T", y=y)
    if lines.empty:
        return [center]
    lines["provisional"] = lines["standing"] == "provisional"
    lines["words"] = [
        f"{row.side} limit {quantities.format_value(key, row.value, unit)}"
        + (", provisional" if row.provisional else "")
        for row in lines.itertuples()
    ]
    dash = alt.condition("datum.provisional", alt.value([2, 4]), alt.value([9, 5]))
    return [
        center,
        alt.Chart(lines)
        .mark_rule(color=LINE, strokeWidth=1.5)
        .encode(x=x, x2="until:T", y=y, strokeDash=dash, tooltip=alt.Tooltip("words:N", title="limit")),
    ]


def _end_label(
    limits: pd.DataFrame, points: pd.DataFrame, x: alt.X, y: alt.Y, *, span: pd.Timedelta
) -> list[alt.Chart]:
    """The word beside the newest upper limit, at its end: above the line, or below where shots lie above."""
    upper = limits.dropna(subset="upper")
    if upper.empty:
        return []
    newest = upper.sort_values("at").tail(1)
    word = "provisional limit" if newest["standing"].item() == "provisional" else "limit"
    end = newest["until"].item()
    beside = points.loc[points["at"].between(end - span, end), "value"]
    under = bool((beside > newest["upper"].item()).any())
    mark: dict[str, Any] = {"baseline": "top", "dy": 4} if under else {"baseline": "bottom", "dy": -3}
    return [
        alt.Chart(newest.assign(at=newest["until"], value=newest["upper"], word=word))
        .mark_text(align="right", dx=-4, fontSize=12, **mark)
        .encode(x=x, y=y, text="word:N")
    ]  # fmt: skip


def _setpoint_layers(
    setpoints: pd.DataFrame, x: alt.X, y: alt.Y, key: str, unit: str | None
) -> list[alt.Chart]:
    if setpoints.empty:
        return []
    steps = setpoints.assign(
        words=[f"setpoint {quantities.format_value(key, value, unit)}" for value in setpoints["value"]]
    )
    chart = alt.Chart(steps).encode(x=x, y=y, tooltip=alt.Tooltip("words:N", title="setpoint"))
    return [
        chart.mark_rule(color=DOT, strokeWidth=3, opacity=0.45).encode(x2="until:T"),
        chart.mark_text(align="left", baseline="bottom", dx=6, dy=-4, fontSize=12).encode(text="words:N"),
    ]


def _point_layers(points: pd.DataFrame, x: alt.X, y: alt.Y) -> list[alt.Chart]:
    chosen = alt.selection_point(name=SELECTION, fields=["id"], nearest=True, on="click", empty=False)
    startup = points["phase"] == "startup"
    signaled = points["signal"] != ""
    tooltip = [
        alt.Tooltip("label:N", title="shot"),
        alt.Tooltip("written:N", title="value"),
        alt.Tooltip("phase:N", title="phase"),
        alt.Tooltip("signal:N", title="signal"),
    ]
    base = alt.Chart(points).encode(x=x, y=y)
    return [
        alt.Chart(points[~startup & ~signaled]).mark_circle(color=DOT, size=26, opacity=0.9).encode(x=x, y=y),
        alt.Chart(points[startup & ~signaled])
        .mark_point(color=DOT, size=26, strokeWidth=1.5)
        .encode(x=x, y=y),
        alt.Chart(points[signaled])
        .mark_point(shape="diamond", size=130, fill=SIGNAL, stroke=EDGE, strokeWidth=1.5, opacity=1)
        .encode(x=x, y=y),
        base.mark_rule(color=ACT, strokeWidth=1.5).encode(y=alt.value(0)).transform_filter(chosen),
        base.mark_point(size=90, opacity=0.001).encode(tooltip=tooltip).add_params(chosen),
    ]
