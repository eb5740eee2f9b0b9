"""`evenrun listen`: what arrives on a broker, and what it would become."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, TextIO

import sqlalchemy as sa
import typer

from collector.cli.heard_report import report, told_at_once
from collector.clock import ServiceClock, real_clock
from collector.contract.mapping_topic import is_filter
from collector.errors import EvenrunError, UserError
from collector.listening import Trial
from collector.pipeline import intake_policy
from collector.service import mqtt_settings, service_clock
from collector.settings import load_settings
from collector.sources.mqtt_listen import listen as listen_to
from collector.sources.recorded import Heard, line_of
from collector.store import database
from collector.store.database_url import is_missing


def listen(
    seconds: Annotated[float, typer.Option(min=0.1, help="How long; Ctrl-C ends it earlier.")] = 60.0,
    topic: Annotated[
        list[str] | None, typer.Option(help="Only topics of this MQTT filter; may be given several times.")
    ] = None,
    record: Annotated[
        Path | None, typer.Option(help="Keep the messages in this new file, for `evenrun mapping test`.")
    ] = None,
) -> None:
    """Show what arrives on the broker of the settings, and what it would become; nothing is stored.

    Each topic is shown when its first message comes; at the end each with its rate, its size, and what the
    collector would make of it. For JSON that no mapping takes a mapping is proposed, as TOML for the
    settings, with every doubt marked. Listening disturbs nobody: it has a session of its own and takes no
    message from the collector.
    """
    settings = load_settings()
    for each in topic or ():
        _check_filter(each)
    trial = Trial(intake_policy(settings), settings.site)
    clock = _clock(settings.database_url)
    with _file(record) as file:
        heard = listen_to(
            mqtt_settings(settings), tuple(topic or ("#",)), seconds=seconds, clock=clock,
            ready=lambda: typer.echo(f"Listening for {seconds:g} s{_pace(clock)}.", err=True),
        )
        problem = _follow(heard, trial, file)
    for line in ("", *report(trial)) if trial.topics else ("Nothing arrived.",):
        typer.echo(line)
    if problem is not None:
        raise problem


def _check_filter(text: str) -> None:
    if not is_filter(text):  # the broker would just hang up
        raise UserError(
            f"--topic {text!r} is no topic filter; + stands for one whole level, # for all levels at the end"
        )


def _follow(messages: Iterator[Heard], trial: Trial, file: TextIO | None) -> UserError | None:
    """Take messages until they end; a broker that hangs up does not undo what was heard before."""
    try:
        for heard in messages:
            if file is not None:
                file.write(line_of(heard))
            known = trial.add(heard)
            if known is not None and known.count == 1:
                typer.echo(told_at_once(known))
    except KeyboardInterrupt:
        sys.stderr.write("\n")
    except UserError as error:
        return error
    except OSError as error:
        raise UserError(
            f"the record cannot be written ({error.strerror}); make room or give another file"
        ) from error
    return None


@contextlib.contextmanager
def _file(path: Path | None) -> Iterator[TextIO | None]:
    if path is None:
        yield None
        return
    try:
        file = path.open("x", encoding="utf-8")
    except FileExistsError:
        raise UserError(f"{path} is there already; give --record the name of a new file") from None
    except OSError as error:
        raise UserError(f"{path} cannot be written ({error.strerror}); give --record another path") from error
    with file:
        yield file


def _pace(clock: ServiceClock) -> str:
    """A demo's day takes minutes, but what a broker has to carry is told in real ones."""
    if clock.speed == 1.0:
        return ""
    return f"; rates are in real time, while the floor's clock runs at {clock.speed:g} times its pace"


def _clock(database_url: str) -> ServiceClock:
    """The service's clock where there is a store to ask, the wall clock otherwise."""
    engine: sa.Engine | None = None
    try:
        if not is_missing(database_url):
            engine = database.open_engine(database_url)
            return service_clock(engine)
    except (EvenrunError, sa.exc.SQLAlchemyError):
        typer.echo("The store cannot tell the clock of the service; the wall clock is taken.", err=True)
    finally:
        if engine is not None:
            engine.dispose()
    return real_clock()
