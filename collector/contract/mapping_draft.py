"""A mapping in the making: which place is what, written as TOML with every doubt marked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from collector.contract import mapping_toml as toml
from collector.contract.mapping_numbers_guess import NumberGuess, guess_number
from collector.contract.mapping_pointer import write_pointer
from collector.contract.mapping_shape import Place, Shape
from collector.contract.mapping_topics import TopicGuess
from collector.contract.mapping_when import TimeGuess, guess_time
from collector.contract.mapping_words import has_role, words_of
from collector.contract.messages import PressState

NOWHERE = "/write the pointer here"
_STATE_WORDS: dict[str, PressState] = {
    "auto": "automatic", "automatic": "automatic", "run": "automatic", "running": "automatic",
    "production": "automatic", "semi": "semi_automatic", "manual": "manual", "setup": "setup",
    "stop": "stopped", "stopped": "stopped", "idle": "stopped", "down": "stopped", "off": "offline",
    "offline": "offline", "online": "online", "sleep": "sleep", "standby": "sleep",
}
_ROLE_TYPES: dict[str, tuple[type, ...]] = {"counter": (int, str), "run": (str, int), "tray": (str, int)}


@dataclass(frozen=True, slots=True)
class Proposal:
    """A proposed mapping, or why there is none.

    Attributes
    ----------
    topics : tuple of str
        Topics it was made from.
    toml : str or None
        The ``[[mapping]]`` with its doubts; None when nothing was recognized.
    doubts : int
        How many are marked.
    """

    topics: tuple[str, ...]
    toml: str | None
    doubts: int


class Draft:
    """A mapping in the making."""

    def __init__(self, group: TopicGuess, when: dict[str, str], shape: Shape, count: int) -> None:
        self._group, self._when, self._shape, self._count = group, when, shape, count
        self._left = [place for place in shape.places.values() if toml.can_be_written(place.pointer)]
        self._lines: list[str] = []

    def proposal(self, taken: set[str]) -> Proposal:
        """The whole of it."""
        time = guess_time(self._left)
        self._left = [place for place in self._left if time is None or place.pointer not in time.pointers]
        press = None if self._group.has_press else self._take("press", (str, int))
        members = {name: self._take(name, kinds) for name, kinds in _ROLE_TYPES.items()}
        numbers = self._numbers()
        state = self._take("state", (str,)) if not numbers else None
        if not numbers and state is None:
            return Proposal(self._group.topics, None, 0)
        kind = _kind(numbers, state)
        self._head(kind, press, _name(self._group, taken))
        self._time(time, kind)
        if kind == "shot":
            self._fields(members)
        if state is not None:
            self._state(state)
        for guess in numbers:
            self._number(guess)
        self._not_mapped()
        text = "\n".join(self._lines) + "\n"
        return Proposal(self._group.topics, text, text.count("# doubt: "))

    def _take(self, role: str, kinds: tuple[type, ...]) -> Place | None:
        """The first place that is called like this and holds only such values."""
        for place in self._left:
            right = place.values and all(type(each) in kinds for each in place.values)
            if right and place.steps and has_role(place.names[-1], role):
                if role == "counter" and not all(_is_count(each) for each in place.values):
                    continue
                self._left.remove(place)
                return place
        return None

    def _numbers(self) -> list[NumberGuess]:
        found: list[NumberGuess] = []
        for place in list(self._left):
            guess = guess_number(place)
            if guess is not None and not any(_clash(guess, other) for other in found):
                found.append(guess)
                self._left.remove(place)
        return sorted(found, key=lambda each: each.scope == "setpoint")

    def _head(self, kind: str, press: Place | None, name: str) -> None:
        add = self._lines.append
        add(f"# from {self._count} messages; every line in doubt says so")
        add("[[mapping]]")
        add(toml.line("name", toml.text(name)))
        add(toml.line("topic", toml.text(self._group.pattern), self._group.doubt))
        add(toml.line("kind", toml.text(kind)))
        if self._when:
            add(toml.line("when", toml.table(self._when)))
        if press is not None:
            add(toml.line("press_pointer", toml.text(press.pointer), "is this the press's own name?"))
        elif not self._group.has_press:
            add(toml.line("press", toml.text("P1"), "neither topic nor message names the press"))
        lists = [
            f"{{pointer = {toml.text(write_pointer(steps))}, name = {toml.text(member)}}}"
            for steps, member in self._shape.named_lists.items()
        ]
        if lists:
            add(f"named_lists = [{', '.join(lists)}]")

    def _time(self, time: TimeGuess | None, kind: str) -> None:
        if time is None and kind == "state":
            return
        self._lines += ["", "[mapping.time]"]
        if time is None:
            self._lines.append(toml.line("pointer", toml.text(NOWHERE), "no time was recognized"))
            return
        pointer = toml.array(time.pointers) if len(time.pointers) > 1 else toml.text(time.pointers[0])
        self._lines.append(toml.line("pointer", pointer, "; ".join(time.doubts) or None))
        for name, value in (("format", time.format), ("pattern", time.pattern), ("zone", time.zone)):
            if value is not None:
                self._lines.append(toml.line(name, toml.text(value)))

    def _fields(self, members: dict[str, Place | None]) -> None:
        self._lines += ["", "[mapping.fields]"]
        for name, place in members.items():
            if place is not None:
                counts = "does it count the shots of the press?"
                doubt = counts if name == "counter" else f"is this the {name}?"
                self._lines.append(toml.line(name, toml.text(place.pointer), doubt))
        if members["counter"] is None:
            self._lines.append("# doubt: no counter was recognized; shots will be told apart by their times")

    def _state(self, state: Place) -> None:
        seen = [each for each in dict.fromkeys(state.values) if toml.can_be_written(each)][:20]
        words = {each: _our_state(each) for each in seen}
        self._lines += ["", "[mapping.fields.state]", toml.line("pointer", toml.text(state.pointer))]
        doubt = "check each word; others may come"
        self._lines.append(
            toml.line("words", toml.table({each: word or "stopped" for each, word in words.items()}), doubt)
        )

    def _number(self, guess: NumberGuess) -> None:
        block = "values" if guess.scope == "shot" else "setpoints"
        add = self._lines.append
        self._lines += ["", f"[[mapping.{block}]]"]
        add(toml.line("key", toml.text(guess.key), guess.key_doubt))
        add(toml.line("pointer", toml.text(guess.place.pointer)))
        add(toml.line("unit", toml.text(guess.unit), "; ".join(guess.doubts) or None))
        if guess.unit_pointer is not None:
            add(toml.line("unit_pointer", toml.text(write_pointer(guess.unit_pointer))))
        if guess.zones:
            add("zones = true")
        if guess.item is not None:
            add(toml.line("item", toml.text(guess.item)))
        if guess.decimal_mark is not None:
            add(toml.line("decimal_mark", toml.text(guess.decimal_mark)))
        if guess.not_written:
            add(toml.line("not_written", toml.array(guess.not_written)))

    def _not_mapped(self) -> None:
        rest = [place for place in self._left if place.values and not isinstance(place.values[0], bool)]
        rest = [place for place in rest if isinstance(place.values[0], int | float | list)]
        if rest:
            self._lines += ["", "# not recognized, and left out:"]
        for place in rest[:40]:
            value = place.values[0]
            seen = f"a list of {len(value)}" if isinstance(value, list) else f"{value!r:.20}"
            self._lines.append(f"#   {toml.remark(place.pointer)}  {seen} {place.unit or ''}".rstrip())


def _clash(one: NumberGuess, other: NumberGuess) -> bool:
    """Whether two guesses cannot stand in one mapping: one quantity twice, or in two units."""
    if one.scope != other.scope:
        return one.key == other.key and one.unit != other.unit
    listed = one.zones or other.zones
    return one.key == other.key or (listed and one.key.partition(".")[0] == other.key.partition(".")[0])


def _is_count(value: object) -> bool:
    return str(value).isascii() and str(value).isdigit() and len(str(value)) <= 12


def _kind(numbers: Sequence[NumberGuess], state: Place | None) -> str:
    if state is not None:
        return "state"
    return "shot" if any(each.scope == "shot" for each in numbers) else "setpoints"


def _our_state(word: str) -> PressState | None:
    return next((_STATE_WORDS[each] for each in words_of(word) if each in _STATE_WORDS), None)


def _name(group: TopicGuess, taken: set[str]) -> str:
    """A name from the topic that no mapping has."""
    levels = [level for level in group.pattern.split("/") if level and level not in {"{press}", "{site}"}]
    base = " ".join(levels)[:50] or "gateway"
    name, number = base, 2
    while name in taken:
        name, number = f"{base} {number}", number + 1
    taken.add(name)
    return name
