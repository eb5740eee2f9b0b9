"""Fewer points for a screen that has fewer pixels, without losing what matters."""

from __future__ import annotations

import numpy as np
import pandas as pd

MOST = 2_000


def thin(
    frame: pd.DataFrame, column: str, *, keep: pd.Series | None = None, most: int = MOST
) -> pd.DataFrame:
    """Keep the lowest and the highest value of every stretch, and every row that `keep` marks.

    Parameters
    ----------
    frame : DataFrame
        Rows in the order of the time axis.
    column : str
        Its values decide; rows where it is missing are dropped.
    keep : Series of bool, optional
        Rows that always stay (signals), same index.
    most : int
        A frame with no more rows than this stays whole.

    Returns
    -------
    DataFrame
        At most about `most` rows besides those of `keep`, in the same order.
    """
    present = frame[frame[column].notna()]
    if len(present) <= most:
        return present
    stretch = np.arange(len(present)) * (most // 2) // len(present)
    groups = present[column].groupby(stretch)
    chosen = present.index.isin(groups.idxmin()) | present.index.isin(groups.idxmax())
    if keep is not None:
        chosen |= keep.reindex(present.index, fill_value=False).to_numpy(dtype=bool)
    return present[chosen]
