"""`evenrun simulate`: shots of simulated presses, to a CSV file or to a broker."""

import contextlib
import time
from collections.abc import Iterable, Iterator
from datetime import datetime
from pathlib import Path
from typing import Annotated, TypeVar

import typer
from rich.console import Console
from rich.progress import Progress

from collector.clock import wall_now
from collector.errors import UserError
from simulator.faults import FAULTS
from simulator.publisher import Gateways, paced, to_message
from simulator.records import SimRecord, SimShot
from simulator.scenarios import plain
from simulator.shot_file import PARQUET, write_csv, write_parquet

DEFAULT_START = "2026-11-16T06:00:00Z"
SHOW_PROGRESS_AFTER_S = 2.0
FORMS = (".csv", PARQUET)
FAULT_NAMES = ", ".join(FAULTS)

_Record = TypeVar("_Record", bound=SimRecord)


def simulate(
    *,
    presses: Annotated[int, typer.Option(min=1, max=500, help="How many presses: P1, P2, ...")] = 1,
    shots: Annotated[int, typer.Option(min=1, help="Shots of each press.")] = 500,
    fault: Annotated[
        str | None, typer.Option(help=f"What goes wrong on P1, one of: {FAULT_NAMES}. None by default.")
    ] = None,
    fault_at_shot: Annotated[
        int | None, typer.Option(min=0, help="About where it begins; by default after 60 % of the shots.")
    ] = None,
    seed: Annotated[int, typer.Option(min=0, help="The same seed gives the same shots.")] = 1,
    start: Annotated[
        str, typer.Option(help="When the first cycle begins, ISO 8601 with its zone, or `now`.")
    ] = DEFAULT_START,
    out: Annotated[
        Path | None, typer.Option(help="File to write, CSV or .parquet, in canonical units.", dir_okay=False)
    ] = None,
    replace: Annotated[bool, typer.Option("--replace", help="Write over a file that is there.")] = False,
    truth: Annotated[
        bool, typer.Option("--truth", help="Add columns of what really happened to the file.")
    ] = False,
    broker: Annotated[str | None, typer.Option(help="Send to this MQTT broker instead, HOST:PORT.")] = None,
    user: Annotated[str | None, typer.Option(help="User name at the broker.")] = None,
    password_file: Annotated[Path | None, typer.Option(help="File with that user's password.")] = None,
    speed: Annotated[
        float | None,
        typer.Option(min=0.001, help="Seconds of the floor per second; without it as fast as possible."),
    ] = None,
) -> None:
    """Make shots of invented disc presses: physics of fill, cooling and dome, with natural variation.

    Each press starts cold, so its first 25 or so shots are startup.
    Say where the shots go: to a file or to a broker.

    Examples:

        evenrun simulate --shots 600 --fault worn_check_ring --out shots.csv

        evenrun simulate --presses 2 --broker localhost:1883 --user gateway --password-file key --speed 60
    """
    if (out is None) == (broker is None):
        raise UserError("say where the shots go: either --out FILE or --broker HOST:PORT")
    _refuse_unknown(fault)
    if fault_at_shot is not None and fault_at_shot >= shots:
        raise UserError(f"--fault-at-shot {fault_at_shot} is past the last shot; give less than {shots}")
    if out is not None:
        _refuse_file(out, replace=replace)
    records = plain(
        seed, _moment(start), presses=presses, shots=shots, fault=fault, fault_at_shot=fault_at_shot
    )
    if speed is not None:
        records = paced(records, speed=speed)
    if out is not None:
        _to_file(records, out, total=presses * shots, with_truth=truth)
    elif broker is not None:
        host, port = _address(broker)
        _to_broker(
            records, Gateways(host, port, user=user, password=_password(password_file)), presses * shots
        )


def _refuse_file(out: Path, *, replace: bool) -> None:
    if out.suffix not in FORMS:
        raise UserError(f"{out} says no form that can be written; let its name end in {' or '.join(FORMS)}")
    if out.exists() and not replace:
        raise UserError(f"{out} is there already; name another file, or write over it with --replace")


def _to_file(records: Iterator[SimRecord], out: Path, *, total: int, with_truth: bool) -> None:
    try:
        made = sum(1 for _ in _watched(_written(records, out, with_truth=with_truth), total))
    except OSError as error:
        raise UserError(
            f"{out} cannot be written ({error.strerror}); give another file with --out"
        ) from error
    typer.echo(f"{made} shots written to {out}")


def _written(records: Iterator[SimRecord], out: Path, *, with_truth: bool) -> Iterator[SimShot]:
    if out.suffix == PARQUET:
        yield from write_parquet(records, out, with_truth=with_truth)
        return
    with out.open("w", encoding="utf-8", newline="") as file:
        yield from write_csv(records, file, with_truth=with_truth)


def _to_broker(records: Iterator[SimRecord], gateways: Gateways, total: int) -> None:
    made = 0
    try:
        with gateways:
            for record in _watched(records, total):
                gateways.send(to_message(record))
                made += isinstance(record, SimShot)
    except ConnectionError as error:
        raise UserError(
            f"{error}; see that it runs, and check --broker, --user and --password-file"
        ) from error
    except KeyboardInterrupt:
        typer.echo("stopped")
    typer.echo(f"{made} shots sent")


def _watched(records: Iterable[_Record], total: int) -> Iterator[_Record]:
    """Hand records on, with a progress bar on standard error once they have taken two seconds."""
    began, shown = time.monotonic(), False
    with contextlib.ExitStack() as closing:
        progress = Progress(console=Console(stderr=True), transient=True)
        task = progress.add_task("shots", total=total)
        for record in records:
            yield record
            progress.advance(task, 1 if isinstance(record, SimShot) else 0)
            if not shown and time.monotonic() - began > SHOW_PROGRESS_AFTER_S:
                closing.enter_context(progress)
                shown = True


def _refuse_unknown(fault: str | None) -> None:
    if fault is not None and fault not in FAULTS:
        raise UserError(f"there is no fault {fault!r}; --fault takes one of {FAULT_NAMES}")


def _moment(text: str) -> datetime:
    if text == "now":
        return wall_now()
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as error:
        raise UserError(f"--start {text!r} is no date and time; write it like {DEFAULT_START}") from error
    if moment.tzinfo is None:
        raise UserError(f"--start {text!r} has no time zone; write it like {DEFAULT_START}")
    return moment


def _address(text: str) -> tuple[str, int]:
    host, colon, port = text.rpartition(":")
    if not colon or not host or not port.isdecimal() or not 0 < int(port) < 65536:
        raise UserError(f"--broker {text!r} is no address; write it as HOST:PORT, such as localhost:1883")
    return host, int(port)


def _password(path: Path | None) -> str | None:
    if path is None:
        return None
    try:
        return path.read_text(encoding="utf-8").strip()
    except OSError as error:
        raise UserError(
            f"the password file {path} cannot be read ({error.strerror}); give another with --password-file"
        ) from error
