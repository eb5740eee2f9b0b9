"""Shots that overtook one another on their way are put back in order before they are judged. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby, pairwise

from collector.contract.bodies import Message
from collector.contract.shot import Shot


def in_order(messages: Sequence[Message]) -> Sequence[Message]:
    """The messages of one press, with each stretch of shots that were only shuffled in the order of time.

    Where counters and times do not agree on the order, as after a restart of the counter or a step of the
    clock, or where a counter comes twice, the stretch stays as it came: what that means is for the identity
    to say.
    """
    if all(not _falls(before, after) for before, after in pairwise(messages)):
        return messages
    return [each for block in _blocks(messages) for each in block]


def _falls(before: Message, after: Message) -> bool:
    return isinstance(before, Shot) and isinstance(after, Shot) and after.ended_at < before.ended_at


def _blocks(messages: Sequence[Message]) -> Iterator[Sequence[Message]]:
    for _, block in groupby(messages, key=lambda each: isinstance(each, Shot)):
        alike = list(block)
        shots = [each for each in alike if isinstance(each, Shot)]
        yield _sorted(shots) if shots else alike


def _sorted(block: list[Shot]) -> list[Shot]:
    ordered = sorted(block, key=lambda each: each.ended_at)
    agree = all(_follows(before, after) for before, after in pairwise(ordered))
    return ordered if agree else block


def _follows(before: Shot, after: Shot) -> bool:
    if before.counter is None or after.counter is None:
        return before.counter is after.counter and before.ended_at < after.ended_at
    return before.counter < after.counter
