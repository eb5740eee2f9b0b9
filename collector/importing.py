"""Import of a CSV file into the store, through the same pipeline as live messages."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from itertools import islice
from pathlib import Path

import sqlalchemy as sa

from collector.clock import ServiceClock
from collector.contract.mapping import GaugingProfile, ShotProfile
from collector.contract.refusal import Refusal
from collector.errors import UserError
from collector.pipeline import Pipeline, Read, engine_policy, intake_policy
from collector.press_work import Counts
from collector.settings import Settings
from collector.sources import csv_file
from collector.store import database
from collector.store.tables import imports
from collector.store.upsert import insert_into
from collector.verdict import Policy

BATCH = 500
SENTENCES = 5


@dataclass(slots=True)
class Imported:
    """What became of a file: counts, the first refusals in words, and whether it was imported before."""

    counts: Counts = field(default_factory=Counts)
    sentences: list[str] = field(default_factory=list)
    before: datetime | None = None

    @property
    def accepted(self) -> int:
        """Rows that were stored now."""
        return self.counts.stored + self.counts.late + self.counts.gaugings

    def told(self) -> str:
        """The counts in words, such as ``159 shots stored, 2 refused``."""
        counts = self.counts
        said = {
            "shots stored": counts.stored, "late shots": counts.late, "gaugings stored": counts.gaugings,
            "known before": counts.duplicates, "amended": counts.amended, "refused": counts.refused,
        }
        return ", ".join(f"{number} {words}" for words, number in said.items() if number) or "nothing in it"


def import_csv(
    engine: sa.Engine,
    settings: Settings,
    path: Path,
    profile: ShotProfile | GaugingProfile,
    *,
    profile_name: str,
    clock: ServiceClock,
    press: str | None = None,
    run: str | None = None,
    progress: Callable[[int], None] = lambda _rows: None,
    refused: Callable[[Refusal], None] = lambda _refusal: None,
) -> Imported:
    """Read a file row by row and store what it says.

    Parameters
    ----------
    engine : Engine
        An upgraded store.
    settings : Settings
    path : Path
    profile : ShotProfile or GaugingProfile
        What its columns mean.
    profile_name : str
        For the record of imports.
    clock : ServiceClock
    press, run : str, optional
        Where they differ from the profile's.
    progress : callable
        Called with the number of rows stored since the last call; what it raises ends the import there.
    refused : callable
        Called with each row that is refused, once it is stored.

    Returns
    -------
    Imported

    Raises
    ------
    UserError
        The file cannot be opened, or no press is named.
    StoreUnavailable
        The store cannot be written; batches before are stored, and importing again repeats nothing.
    """
    digest = _digest(path)
    done = Imported(before=_imported_before(engine, digest))
    pipeline = Pipeline(
        engine, policy=_policy(settings, profile), intake=intake_policy(settings), clock=clock
    )
    job = csv_file.Import(
        site=settings.site, now=clock.now(), received_at=clock.wall(), press=press, run=run
    )
    records = csv_file.read(path, profile, job)
    for batch in _batches(records, path.name):
        done.counts.add(pipeline.take_records(batch))
        refusals = [each.record for each in batch if isinstance(each.record, Refusal)]
        done.sentences += [each.sentence() for each in refusals[: SENTENCES - len(done.sentences)]]
        for each in refusals:
            refused(each)
        progress(len(batch))
    if done.before is None and done.accepted:
        row = {"file_name": path.name, "file_digest": digest, "profile": profile_name}
        _note(engine, row, done, at=clock.now())
    return done


def _imported_before(engine: sa.Engine, digest: bytes) -> datetime | None:
    """When a file of the same bytes was imported, if it was."""
    query = sa.select(imports.c.imported_at).where(imports.c.file_digest == digest)
    with database.read(engine) as conn:
        return conn.execute(query).scalar_one_or_none()


def _policy(settings: Settings, profile: ShotProfile | GaugingProfile) -> Policy:
    """The profile knows its press better than the settings do."""
    if isinstance(profile, GaugingProfile):
        return engine_policy(settings)
    charts = settings.charts
    overrides: dict[str, object] = {
        "vital": frozenset((*charts.vital, *charts.also, *profile.chart)),
        "setpoint_tolerance": {**charts.setpoint_tolerance, **profile.setpoint_tolerances()},
    }
    if profile.startup_shots is not None:
        overrides["startup_shots"] = profile.startup_shots
    return engine_policy(settings, **overrides)


def _batches(records: Iterator[csv_file.Record], name: str) -> Iterator[list[Read]]:
    numbered = (
        Read(record, getattr(record, "raw", b""), f"{name}:{number}")
        for number, record in enumerate(records, start=1)
    )
    while batch := list(islice(numbered, BATCH)):
        yield batch


def _digest(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").digest()
    except OSError as error:
        raise UserError(f"the file {path} cannot be read ({error.strerror}); check its path") from error


def _note(engine: sa.Engine, row: Mapping[str, object], done: Imported, *, at: datetime) -> None:
    counts = {
        "accepted": done.accepted, "duplicates": done.counts.duplicates, "refused": done.counts.refused,
    }
    with database.write(engine) as conn:
        # Another process may have imported the same file at the same time.
        new = insert_into(conn, imports).values(**row, **counts, imported_at=at)
        conn.execute(new.on_conflict_do_nothing())
