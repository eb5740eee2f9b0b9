"""What the store holds about one run: frozen facts, no judgment.

Everything that an audit says follows from one :class:`Evidence`. Its digest is printed in the document, so
that anybody with the same store can take the evidence again and see whether it is the same.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256

import pandas as pd

from collector.store.canonical import canonical_json
from dashboard.audit.facts import (
    AlarmFact,
    EventFact,
    GaugingFact,
    HoldFact,
    InForce,
    OtherRun,
    RunFacts,
    ShotFacts,
    SignalGroup,
)
from dashboard.audit.plain_facts import plain
from dashboard.audit.shot_list import ShotList

_BESIDE = ("taken_at", "journal_head", "journal_breaks", "archived_alike")


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """All that an audit is made from.

    Attributes
    ----------
    taken_at : datetime
        Service time at which the evidence was taken.
    shot_list : ShotList
        The run's shots in the order of the charts.
    values : DataFrame
        One column a charted characteristic, canonical unit, one row a shot of `shot_list`.
    units : mapping of str to (str or None)
        Unit of each key in `values`.
    signal_places : mapping of str to tuple of int
        Places of the signaling shots of each key.
    timers : frozenset of str
        Keys that are watched for change instead of charted.
    unjoined : int
        Gaugings that name the run and have found no shot.
    journal_head : str
        Digest of the newest entry of the journal; `journal_breaks` says where the chain does not hold.
    left_out : tuple of str
        Runs that were asked to stay out of the comparison.
    archived_alike : tuple of str
        Runs that could be compared if their values were not in the archive.
    """

    taken_at: datetime
    run: RunFacts
    shots: ShotFacts
    in_force: tuple[InForce, ...]
    events: tuple[EventFact, ...]
    refused: int
    amended: tuple[str, ...]
    signals: tuple[SignalGroup, ...]
    signal_places: Mapping[str, tuple[int, ...]]
    signals_withdrawn: int
    signals_added_late: int
    alarms: tuple[AlarmFact, ...]
    holds: tuple[HoldFact, ...]
    gaugings: tuple[GaugingFact, ...]
    gaugings_withdrawn: int
    unjoined: int
    tolerances: Mapping[str, tuple[float | None, float | None]]
    others: tuple[OtherRun, ...]
    left_out: tuple[str, ...]
    archived_alike: tuple[str, ...]
    units: Mapping[str, str | None]
    timers: frozenset[str]
    journal_head: str
    journal_breaks: tuple[str, ...]
    shot_list: ShotList
    values: pd.DataFrame

    def digest(self) -> str:
        """SHA-256 over the canonical JSON of the evidence, in hexadecimal.

        Left out are what does not belong to the run (the time at which it was taken, the journal, which is
        printed beside, what other runs are in the archive) and the values themselves: the digest of the
        stored shots stands for them.
        """
        facts = {name: member for name, member in plain(self).items() if name not in _BESIDE}
        return sha256(canonical_json(facts).encode()).digest().hex()
