"""What the inspection is not sure of, one sentence each, by the place in the profile that it is about."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(slots=True)
class Doubts:
    """Sentences by place; a place is a key of the profile, or the name of a column."""

    by_place: dict[str, list[str]] = field(default_factory=dict)

    def add(self, place: str, sentence: str) -> None:
        """Note a sentence that says what is taken, why, and what else it could be."""
        self.by_place.setdefault(place, []).append(sentence)

    def at(self, place: str) -> list[str]:
        """The sentences about one place."""
        return self.by_place.get(place, [])

    def sentences(self) -> list[str]:
        """All, in the order in which they were noted."""
        return [sentence for sentences in self.by_place.values() for sentence in sentences]
