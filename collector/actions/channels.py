"""What a person does about a channel to people: try it, and switch it on again after it was mended."""

from __future__ import annotations

from collections.abc import Collection

import sqlalchemy as sa

from collector.actions.doer import named
from collector.alarms.message_text import message
from collector.clock import ServiceClock
from collector.errors import NotAllowed
from collector.store import channels, journal, outbox
from collector.store.database import write

TEST = "test"  # what a test message is about, in the outbox


def test(engine: sa.Engine, name: str, *, known: Collection[str], who: str, clock: ServiceClock) -> int:
    """Send a test message; also through a channel that is off, to see whether it was mended.

    Parameters
    ----------
    engine : Engine
    name : str
        The channel.
    known : collection of str
        Channels of the settings.
    who : str
    clock : ServiceClock

    Returns
    -------
    int
        Number of the message; what comes of it is in the outbox.

    Raises
    ------
    NotAllowed
        Nobody is named, or there is no such channel.
    """
    named(who)
    _known(name, known)
    text = message("evenrun: test", f"A test of the channel {name}, asked for by {who}. Nothing to be done.")
    with write(engine) as conn:
        number = outbox.add(
            conn, channel=name, topic=TEST, payload=text, retain=False, wall=clock.wall(), once=True
        )
        journal.append(
            conn, at=clock.now(), wall_at=clock.wall(), who=who, action="channel tested",
            subject=f"channel {name}",
        )  # fmt: skip
    return number


def switch_on(
    engine: sa.Engine, name: str, *, known: Collection[str], who: str, clock: ServiceClock, why: str
) -> None:
    """Use a channel again that was switched off; alarms that nobody has acknowledged go to it at once.

    Raises
    ------
    NotAllowed
        Nobody or no reason is named, there is no such channel, or it is on.
    """
    named(who)
    _known(name, known)
    if not why.strip():
        raise NotAllowed("say in a few words what was mended, such as 'new password'")
    with write(engine) as conn:
        before = channels.states(conn).get(name)
        if before is None or before.disabled_at is None:
            raise NotAllowed(f"the channel {name} is on already; reload the page")
        channels.enable(conn, name)
        journal.append(
            conn, at=clock.now(), wall_at=clock.wall(), who=who, action="channel on",
            subject=f"channel {name}", before={"off_because": before.disabled_why}, why=why.strip(),
        )  # fmt: skip


def _known(name: str, known: Collection[str]) -> None:
    if name not in known:
        raise NotAllowed(f"there is no channel {name} in the settings")
