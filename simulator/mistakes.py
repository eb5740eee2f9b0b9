"""What people get wrong when they gauge and type: digits, trays, places, and discs they forget.

How often is invented (common practice, no source): a few in a thousand keyed values, fewer where a digital
gauge types them. Each mistake comes from its own disc, so a rate changes nothing about the other readings.
"""

import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, fields, replace

import numpy as np

from simulator.floor import TRAY_SIZE
from simulator.records import SimGauging

_CHARACTERISTICS = ("weight", "dome", "diameter")


@dataclass(frozen=True, slots=True, kw_only=True)
class Mistakes:
    """Chance of each mistake, between 0 and 1.

    Attributes
    ----------
    typed : float
        A reading is typed wrong: digits changed about, a point moved or lost, a digit twice, a key beside.
    next_disc : float
        A disc's readings are written down for the disc after it.
    forgotten : float
        A disc is not gauged at all.
    twice : float
        A reading is entered twice.
    swapped_trays : float
        A pair of trays (odd and the even one before it) has its labels exchanged.

    Raises
    ------
    ValueError
        If a chance is outside 0 to 1.
    """

    typed: float = 0.004
    next_disc: float = 0.003
    forgotten: float = 0.01
    twice: float = 0.003
    swapped_trays: float = 0.01

    def __post_init__(self) -> None:
        """Check the chances."""
        for field in fields(self):
            if not 0.0 <= getattr(self, field.name) <= 1.0:
                raise ValueError(
                    f"the chance {field.name} of a mistake is {getattr(self, field.name)}; give 0 to 1"
                )


def with_mistakes(
    readings: Iterable[SimGauging], seed: int, mistakes: Mistakes | None = None
) -> Iterator[SimGauging]:
    """Let people enter readings as people do.

    Parameters
    ----------
    readings : iterable of SimGauging
        Without a mistake, in the order they are taken.
    seed : int
        With press and tray it fixes every mistake.
    mistakes : Mistakes, optional
        How often; the usual rates without it.

    Yields
    ------
    SimGauging
        In the same order; ``mistake`` tells what is wrong with one, if anything.
    """
    chances = Mistakes() if mistakes is None else mistakes
    for reading in readings:
        disc = np.random.default_rng([seed, 1, *_disc(reading)])
        if disc.random() < chances.forgotten:
            continue
        entered = _misplaced(reading, disc, seed, chances)
        which = _CHARACTERISTICS.index(reading.characteristic)
        typing = np.random.default_rng([seed, 2, *_disc(reading), which])
        if typing.random() < chances.typed:
            entered = _mistyped(entered, typing)
        yield entered
        if typing.random() < chances.twice:
            yield replace(entered, mistake="entered twice")


def _disc(reading: SimGauging) -> tuple[int, int, int]:
    return int(reading.press[1:]), _number(reading.tray), reading.tray_position


def _number(tray: str) -> int:
    return int(tray.rpartition("-")[2])


def _misplaced(
    reading: SimGauging, disc: np.random.Generator, seed: int, chances: Mistakes
) -> SimGauging:
    number = _number(reading.tray)
    pair = np.random.default_rng([seed, 3, int(reading.press[1:]), number // 2])
    if pair.random() < chances.swapped_trays:
        other = number ^ 1
        moved = replace(reading, tray=_renumbered(reading.tray, other), mistake="trays swapped")
        return _recounted(moved, (other - number) * TRAY_SIZE)
    if disc.random() < chances.next_disc and reading.tray_position < TRAY_SIZE:
        moved = replace(reading, tray_position=reading.tray_position + 1, mistake="next disc")
        return _recounted(moved, 1)
    return reading


def _renumbered(tray: str, number: int) -> str:
    head, dash, digits = tray.rpartition("-")
    return f"{head}{dash}{number:0{len(digits)}d}"


def _recounted(reading: SimGauging, by: int) -> SimGauging:
    return reading if reading.counter is None else replace(reading, counter=reading.counter + by)


def _mistyped(reading: SimGauging, typing: np.random.Generator) -> SimGauging:
    """The reading with a slip drawn for it; with the next slip, where that one changes nothing."""
    text = f"{reading.value:.2f}" if reading.characteristic != "weight" else f"{reading.value:.1f}"
    first = int(typing.integers(len(_SLIPS)))
    for name, slip in (*_SLIPS[first:], *_SLIPS[:first]):
        value = float(slip(text, typing))
        if value != reading.value:
            return replace(reading, value=value, mistake=name)
    return reading  # nothing but zeros can be changed about


def _transposed(text: str, typing: np.random.Generator) -> str:
    """Two neighboring digits change places."""
    places = [match.start() for match in re.finditer(r"(?=\d\d)", text)]
    if not places:
        return text
    at = places[int(typing.integers(len(places)))]
    return text[:at] + text[at + 1] + text[at] + text[at + 2 :]


def _without_point(text: str, _typing: np.random.Generator) -> str:
    return text.replace(".", "")


def _point_moved(text: str, typing: np.random.Generator) -> str:
    return repr(round(float(text) * (10.0 if typing.random() < 0.5 else 0.1), 4))


def _doubled(text: str, typing: np.random.Generator) -> str:
    at = _a_digit(text, typing)
    return text[: at + 1] + text[at:]


def _beside(text: str, typing: np.random.Generator) -> str:
    """A neighboring key of the number row is hit."""
    at = _a_digit(text, typing)
    digit = int(text[at])
    near = [key for key in (digit - 1, digit + 1) if 0 <= key <= 9]
    return text[:at] + str(near[int(typing.integers(len(near)))]) + text[at + 1 :]


def _a_digit(text: str, typing: np.random.Generator) -> int:
    places = [place for place, sign in enumerate(text) if sign.isdigit()]
    return places[int(typing.integers(len(places)))]


_SLIPS: tuple[tuple[str, Callable[[str, np.random.Generator], str]], ...] = (
    ("digits changed about", _transposed),
    ("point forgotten", _without_point),
    ("point moved", _point_moved),
    ("digit doubled", _doubled),
    ("key beside", _beside),
)
