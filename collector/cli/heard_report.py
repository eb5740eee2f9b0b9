"""What was heard, in words: for `evenrun listen` and `evenrun mapping test`.

Topics and values come from anybody, so nothing of theirs reaches the terminal that is not printable.
"""

from __future__ import annotations

from collections.abc import Iterator

from collector.contract.figures import significant
from collector.contract.mapping_toml import remark
from collector.contract.quantities import format_value, label
from collector.contract.shot import Shot
from collector.contract.times import to_text
from collector.listening import Trial
from collector.topic_trial import TopicTrial

__all__ = ["report", "told_at_once"]

_MOST_SHOWN = 100
_MOST_METRICS = 200
_WIDTH = 100


def told_at_once(topic: TopicTrial) -> str:
    """One line for a topic at its first message."""
    return f"{clean(topic.topic)}  {topic.size} bytes  {_first_fields(topic)}"


def report(trial: Trial) -> Iterator[str]:
    """Line by line: each topic, each mapping, the sums, and the proposals."""
    for topic in list(trial.topics.values())[:_MOST_SHOWN]:
        yield from _topic(topic)
    more = len(trial.topics) - _MOST_SHOWN
    if more > 0 or trial.left_out:
        yield f"and {max(more, 0)} more topics, and {trial.left_out} messages of topics beyond those"
    yield ""
    yield from _mappings(trial)
    read, refused, foreign = trial.counts()
    yield f"{read} would be taken, {refused} refused, {foreign} belong to no mapping."
    yield from _proposals(trial)


def clean(text: str, width: int = _WIDTH) -> str:
    """A sender's text, printable and not longer than a line."""
    printable = remark(text)
    return printable if len(printable) <= width else printable[: width - 3] + "..."


def _topic(topic: TopicTrial) -> Iterator[str]:
    rate = topic.per_minute()
    pace = "" if rate is None else f", {significant(rate)} a minute"
    kept = f", {topic.retained} of them retained" if topic.retained else ""
    yield clean(topic.topic)
    yield f"  {_number(topic.count, 'message')}{pace}{kept}, {topic.size / topic.count:.0f} bytes each"
    yield f"  {_first_fields(topic)}"
    if topic.metrics is not None:
        yield from _metrics(topic.metrics)
    elif topic.ours:
        yield "  is published by evenrun itself"
    elif not topic.mapped:
        yield "  belongs to no mapping: the collector does not subscribe to it"
    for (kind, press), count in topic.becomes.most_common(5):
        yield f"  becomes {_number(count, kind)}, press {clean(press)}"
    if isinstance(topic.example, Shot):
        yield f"  the first: {clean(_shot(topic.example), 300)}"
    if topic.refused:
        yield f"  refused: {', '.join(f'{count} {reason}' for reason, count in topic.refused.most_common())}"
    for sentence in topic.sentences:
        yield f"    {clean(sentence, 300)}"


def _metrics(metrics: list[tuple[str, str]]) -> Iterator[str]:
    """What an edge node's message says; a birth names all there is."""
    yield "  is Sparkplug B, which [[sparkplug]] tables map by the names of metrics:"
    for name, value in metrics[:_MOST_METRICS]:
        yield f"    {clean(name)} = {clean(value, 40)}"
    if len(metrics) > _MOST_METRICS:
        yield f"    and {len(metrics) - _MOST_METRICS} more"


def _shot(shot: Shot) -> str:
    """What a shot holds, in the words and units of the screens."""
    told = [f"counter {shot.counter}", f"ended at {to_text(shot.ended_at)}"]
    for word, block in (("", shot.values), ("set ", shot.setpoints)):
        told += [
            f"{word}{label(key)} {format_value(key, value, shot.units.get(key))}"
            for key, value in block.items()
        ]
    told += [f"{label(key)} not written" for key in shot.not_written]
    return ", ".join(told)


def _number(count: int, word: str) -> str:
    plain = word.endswith("s") or count == 1
    return f"{count} {word}" if plain else f"{count} {word}s"


def _first_fields(topic: TopicTrial) -> str:
    if not topic.fields:
        return clean(f"no JSON that can be read: {topic.not_json or 'too large'}")
    return clean(", ".join(f"{where or 'the whole'} {value:.30}" for where, value in topic.fields))


def _mappings(trial: Trial) -> Iterator[str]:
    for each in trial.mappings.values():
        yield f"mapping {each.name!r}: {each.taken} taken, {each.refused} refused"
        for where in each.never_found():
            yield f"  no message has anything at {clean(where)}: is the pointer right?"


def _proposals(trial: Trial) -> Iterator[str]:
    for proposal in trial.proposals():
        shown = " and ".join(clean(topic, 60) for topic in proposal.topics[:3])
        yield ""
        if proposal.toml is None:
            yield f"# no mapping is proposed for {shown}: nothing in its messages was recognized"
            continue
        doubts = _number(proposal.doubts, "doubt")
        yield f"# proposed for {shown}; check its {doubts}, then add it to the settings"
        yield proposal.toml.rstrip("\n")
