"""What messages would become under the present settings; nothing is stored.

A trial of the intake alone, for `evenrun listen` and `evenrun mapping test`: the same `parse`, the same
bounds, the same mappings as the collector's.
"""

from __future__ import annotations

from collector.contract import topics
from collector.contract.mapping_draft import Proposal
from collector.contract.mapping_proposal import propose
from collector.contract.mapping_read import make
from collector.contract.messages import (
    GaugingMessage,
    RunMessage,
    SetpointsMessage,
    StateMessage,
    TrayMessage,
)
from collector.contract.parse import parse
from collector.contract.policy import Policy
from collector.contract.refusal import Refusal
from collector.contract.strict_json import decode_any
from collector.contract.topics import read_topic
from collector.contract.unreadable import Unreadable
from collector.sources.incoming import Incoming
from collector.sources.recorded import Heard
from collector.sources.sparkplug.shown import is_sparkplug
from collector.topic_trial import MappingTrial, TopicTrial

MOST_TOPICS = 1000
_KEPT = 100  # messages a topic that a proposal is made from,
_KEPT_BYTES = 50_000_000  # and how large all of them may be
_KINDS: dict[type, str] = {
    RunMessage: "run", TrayMessage: "tray", SetpointsMessage: "setpoints", StateMessage: "state",
    GaugingMessage: "gauging",
}


class Trial:
    """Reads messages as the collector would, and counts.

    Parameters
    ----------
    policy : Policy
        Bounds and mappings, as the collector has them.
    site : str
        Own site.
    """

    def __init__(self, policy: Policy, site: str) -> None:
        self._policy = policy
        self._site = site
        self.topics: dict[str, TopicTrial] = {}
        self.mappings = {each.name: MappingTrial(each.name) for each in policy.mappings.mappings}
        self.left_out = 0
        self._room = _KEPT_BYTES

    def add(self, heard: Heard) -> TopicTrial | None:
        """Read one message; None when there are too many topics to tell them apart."""
        known = self.topics.get(heard.topic)
        if known is None:
            if len(self.topics) >= MOST_TOPICS:
                self.left_out += 1
                return None
            known = self.topics[heard.topic] = self._new(heard)
        known.count += 1
        known.retained += heard.retained
        known.size += len(heard.payload)
        known.note_time(heard)
        self._look_at(known, heard)
        if known.mapped:
            self._read(known, heard)
        return known

    def proposals(self) -> list[Proposal]:
        """Mappings proposed for the JSON that no mapping takes."""
        foreign = {
            topic: each.documents
            for topic, each in self.topics.items()
            if each.documents and not each.mapped and not each.ours
        }
        return propose(foreign, site=self._site, names=tuple(self.mappings))

    def counts(self) -> tuple[int, int, int]:
        """Messages that read, that are refused, and that belong to no mapping."""
        all_of = self.topics.values()
        read, refused = (sum(each.becomes.total() for each in all_of), sum(e.refused.total() for e in all_of))
        foreign = (each for each in all_of if not each.mapped and not each.ours and each.metrics is None)
        return read, refused, sum(each.count for each in foreign)

    def _new(self, heard: Heard) -> TopicTrial:
        contract = read_topic(heard.topic)
        own = heard.topic.startswith(f"{topics.ROOT}/") and contract is None
        mapped = contract is not None or bool(self._policy.mappings.of_topic(heard.topic))
        return TopicTrial(heard.topic, mapped=mapped, ours=own)

    def _look_at(self, known: TopicTrial, heard: Heard) -> None:
        """Keep the first messages of a topic, decoded."""
        if is_sparkplug(heard.topic):
            known.note_metrics(heard.payload)
            return
        if known.fields and (known.mapped or len(known.documents) >= _KEPT):
            return
        if len(heard.payload) > min(self._policy.max_bytes, self._room):
            return
        try:
            document = decode_any(
                heard.payload, max_depth=self._policy.max_depth, max_members=self._policy.max_members
            )
        except Unreadable as broken:
            known.not_json = known.not_json or broken.detail
            return
        known.note_document(document)
        if isinstance(document, dict | list) and not known.mapped:
            known.documents.append(document)
            self._room -= len(heard.payload)

    def _read(self, known: TopicTrial, heard: Heard) -> None:
        incoming = Incoming(heard.topic, heard.payload, "heard", heard.topic)
        found = parse(incoming, now=heard.at, received_at=heard.at, policy=self._policy)
        if isinstance(found, Refusal):
            known.note_refusal(found)
        else:
            site = f" of site {found.site}, which this collector does not take" * (found.site != self._site)
            known.count_as(_KINDS.get(type(found), "shot"), f"{found.press or 'no press'}{site}")
            known.example = known.example or found
        self._note_mapping(heard, taken=not isinstance(found, Refusal))

    def _note_mapping(self, heard: Heard, *, taken: bool) -> None:
        candidates = self._policy.mappings.of_topic(heard.topic)
        if read_topic(heard.topic) is not None or not candidates:
            return
        if not taken:
            self.mappings[candidates[0][0].name].refused += 1  # most topics have one
            return
        document = decode_any(
            heard.payload, max_depth=self._policy.max_depth, max_members=self._policy.max_members
        )
        made = make(candidates, document, now=heard.at)
        mapping = self.mappings[made.mapping.name]
        mapping.taken += 1
        mapping.absent.update(set(made.absent))
