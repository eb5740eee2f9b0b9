"""Import of a CSV file into the store, through the same pipeline as live messages."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import partial
from itertools import islice
from pathlib import Path

import sqlalchemy as sa

from collector import quiet_runs
from collector.clock import ServiceClock
from collector.contract.mapping import GaugingProfile, ShotProfile
from collector.contract.refusal import Refusal
from collector.counts import Counts
from collector.errors import StoreError, UserError
from collector.pipeline import Pipeline, Read, engine_policy, intake_policy
from collector.read_later import settle
from collector.settings import Settings
from collector.sources import csv_file
from collector.store import database, imports
from collector.verdict import Policy

BATCH = 500
SENTENCES = 5


@dataclass(slots=True)
class Imported:
    """What became of a file: counts, the first refusals in words, and whether it was imported before."""

    counts: Counts = field(default_factory=Counts)
    sentences: list[str] = field(default_factory=list)
    before: datetime | None = None
    id: int = 0
    refused_at: set[str] = field(default_factory=set)
    broke_off: bool = False
    read_later: int = 0
    totals: int = 0

    def pass_over(self, _line: int) -> None:
        """Count a row of totals."""
        self.totals += 1

    def note(self, refusals: list[Refusal]) -> None:
        """Remember what was refused, and where."""
        self.sentences += [each.sentence() for each in refusals[: SENTENCES - len(self.sentences)]]
        self.refused_at.update(each.position for each in refusals)
        self.broke_off |= any(each.reason == "bad_file" and not each.raw for each in refusals)

    @property
    def was_read(self) -> bool:
        """Whether rows could be read, and up to the end of the file."""
        some = self.accepted or self.counts.duplicates or self.counts.amended
        return bool(some) and not self.broke_off

    @property
    def accepted(self) -> int:
        """Rows that were stored now."""
        return self.counts.stored + self.counts.late + self.counts.past + self.counts.gaugings

    def told(self) -> str:
        """The counts in words, such as ``159 shots stored, 2 refused``."""
        counts = self.counts
        said = {
            "shots stored": counts.stored, "late shots": counts.late,
            "shots stored as a run of the past": counts.past, "gaugings stored": counts.gaugings,
            "known before": counts.duplicates, "amended": counts.amended, "refused": counts.refused,
            "rows of totals passed over": self.totals,
            "of those refused before are settled": self.read_later,
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
        The file cannot be opened, its name cannot be shown, no press is named, or a file of this name is
        being imported.
    ImportEnded
        Somebody has taken the import back while it ran.
    StoreUnavailable
        The store cannot be written; batches before are stored, and importing again repeats nothing.
    """
    if not path.name.isprintable():
        raise UserError(f"the name of the file {path.name!a} has signs that cannot be shown; rename it")
    digest = _digest(path)
    with database.write(engine) as conn:
        done = Imported(before=imports.taken_before(conn, digest))
        done.id = imports.begin(conn, path.name, digest, profile_name, at=clock.now())
    pipeline = Pipeline(
        engine, policy=_policy(settings, profile), intake=intake_policy(settings), clock=clock,
        guard=partial(imports.go_on, import_id=done.id),
    )  # fmt: skip
    job = csv_file.Import(
        site=settings.site, now=clock.now(), received_at=clock.wall(), press=press, run=run
    )
    records = csv_file.read(path, profile, job, passed_over=done.pass_over)
    with _let_go_on_error(engine, done.id):
        for batch in _batches(records, path.name):
            done.counts.add(pipeline.take_records(batch))
            refusals = [each.record for each in batch if isinstance(each.record, Refusal)]
            done.note(refusals)
            for each in refusals:
                refused(each)
            progress(len(batch))
        with database.write(engine) as conn:
            imports.go_on(conn, done.id)
            if done.was_read:
                done.read_later = settle(conn, path, profile, refused=done.refused_at, at=clock.wall())
            quiet_runs.end(conn, settings.site, now=clock.now(), after=_parts_runs(settings))
            imports.finish(
                conn, done.id, accepted=done.accepted, duplicates=done.counts.duplicates,
                refused=done.counts.refused,
            )  # fmt: skip
    return done


@contextmanager
def _let_go_on_error(engine: sa.Engine, import_id: int) -> Iterator[None]:
    """Whatever ends an import early, the next one of the same file need not wait for it."""
    try:
        yield
    except BaseException:
        # With the store away, the import counts as cut off after a while.
        with suppress(StoreError), database.write(engine) as conn:
            imports.let_go(conn, import_id)
        raise


def _parts_runs(settings: Settings) -> timedelta:
    return timedelta(hours=settings.charts.new_run_after_stop_h)


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
