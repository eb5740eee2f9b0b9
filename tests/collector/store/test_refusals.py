"""What could not be read is kept, once, with its bytes."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import sqlalchemy as sa

from collector.contract.refusal import Refusal
from collector.store import refusals
from collector.store.database import read, write

AT = datetime(2026, 11, 24, 10, 0, tzinfo=UTC)
RAW = b'{"press": "P1", \x00\xff not JSON'
REFUSAL = Refusal(
    reason="not_json",
    detail="the message is not JSON (character 17)",
    remedy="mend the gateway",
    raw=RAW,
    source="mqtt",
    position="evenrun/1/lowland/P1/shot",
    topic="evenrun/1/lowland/P1/shot",
    received_at=AT,
)


def keep(engine: sa.Engine, refusal: Refusal) -> bool:
    with write(engine) as conn:
        return refusals.keep(conn, refusal)


def test_raw_bytes_come_back_as_they_were(engine: sa.Engine) -> None:
    assert keep(engine, REFUSAL)
    with read(engine) as conn:
        (row,) = refusals.kept(conn)

    assert row.raw == RAW
    assert (row.reason, row.topic, row.received_at) == ("not_json", REFUSAL.topic, AT)


def test_the_same_record_refused_twice_is_kept_once(engine: sa.Engine) -> None:
    kept = [keep(engine, REFUSAL), keep(engine, replace(REFUSAL, detail="said in other words"))]

    assert kept == [True, False]
    with read(engine) as conn:
        assert len(refusals.kept(conn)) == 1


def test_other_bytes_or_another_place_are_kept_as_well(engine: sa.Engine) -> None:
    elsewhere = replace(REFUSAL, position="file.csv:17", source="file.csv")
    kept = [keep(engine, each) for each in (REFUSAL, replace(REFUSAL, raw=b"{"), elsewhere)]

    assert kept == [True] * 3
    with read(engine) as conn:
        assert len(refusals.kept(conn, last=2)) == 2
        assert [row.position for row in refusals.kept(conn, source="file.csv")] == ["file.csv:17"]


def test_a_replayed_refusal_is_marked_once(engine: sa.Engine) -> None:
    keep(engine, REFUSAL)
    with write(engine) as conn:
        (row,) = refusals.kept(conn)

        assert refusals.mark_replayed(conn, row.id, at=AT)
        assert not refusals.mark_replayed(conn, row.id, at=AT)
        assert refusals.kept(conn) == []
        assert [each.replayed_at for each in refusals.kept(conn, state="replayed")] == [AT]


def test_an_enormous_message_is_kept_in_part_and_says_so(engine: sa.Engine) -> None:
    keep(engine, replace(REFUSAL, raw=b"x" * (refusals.KEPT_BYTES + 7)))
    with read(engine) as conn:
        (row,) = refusals.kept(conn)

    assert len(row.raw) == refusals.KEPT_BYTES
    assert f"only the first {refusals.KEPT_BYTES} of {refusals.KEPT_BYTES + 7} bytes" in row.detail


def test_characters_that_no_column_takes_do_not_stop_it(engine: sa.Engine) -> None:
    assert keep(engine, replace(REFUSAL, detail="unknown key \ud800\x00", position="row\x00 3"))
    with read(engine) as conn:
        (row,) = refusals.kept(conn)

    assert row.detail == "unknown key ?\N{REPLACEMENT CHARACTER}"
