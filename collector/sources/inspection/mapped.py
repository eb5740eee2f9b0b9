"""From columns to the quantities of a profile, each with its unit, its factor and its doubts."""

from __future__ import annotations

import re
from collections.abc import Sequence

from collector.contract import units
from collector.contract.readings import Problem, how_to_read
from collector.data_checks.look import WITNESSES
from collector.sources.inspection import meaning as meanings
from collector.sources.inspection.mapping import Candidate, Mapped, Mapping, as_bare_number, as_candidate
from collector.sources.inspection.meaning import Meaning
from collector.sources.inspection.ranges import KINDS, Usual
from collector.sources.inspection.roles import MOST_CAVITIES
from collector.sources.inspection.table import SampledColumn
from collector.sources.inspection.unit_choice import choose_unit, vote
from collector.sources.inspection.words import TOKEN, last_number

WOBBLE = 0.001  # of a recorded setting, by which it may change without having been changed


def map_columns(columns: Sequence[SampledColumn], file_name: str, same_shot: Sequence[int]) -> Mapping:
    """Map the columns that have no role.

    Parameters
    ----------
    columns : sequence of SampledColumn
    file_name : str
        What helps where no header says anything.
    same_shot : sequence of int
        Rows of which the next one is another cavity of the same shot.
    """
    found = Mapping()
    candidates = [each for column in columns if (each := _candidate(column, found)) is not None]
    preferred = _units_of_the_file(candidates)
    for candidate in candidates:
        _place(candidate, preferred, found)
    if not (found.values or found.characteristics):
        _by_the_file_name(candidates, file_name, found)
    for setting in found.setpoints:
        _like_its_actual(setting, found.values)
    for scope in (found.values, found.setpoints, found.characteristics):
        _one_column_a_key(scope, found)
    for mapped in (*found.values, *found.characteristics):
        texts = mapped.column.texts
        mapped.per_cavity = "." not in mapped.key and any(texts[row] != texts[row + 1] for row in same_shot)
    return found


def _candidate(column: SampledColumn, found: Mapping) -> Candidate | None:
    if not column.written:
        found.left_out.append((column, "empty in the sample"))
    elif not column.is_numeric:
        found.left_out.append((column, "text"))
    elif not column.nonzero:
        found.left_out.append(
            (column, "only zeros in the sample, as of a zone or a sensor that is not there")
        )
    else:
        return as_candidate(column)
    return None


def _units_of_the_file(candidates: Sequence[Candidate]) -> list[str]:
    """Units for columns that could have several: as stated beside others, or as most of them must be."""
    stated = [each.stated for each in candidates if each.stated is not None]
    first = [name for kind in ("degC", "MPa", "mm", "g") for name in _most(stated, kind)]
    for idea in ("temperature", "pressure"):
        known = [each for each in candidates if idea in each.meaning.said and each.meaning.key and each.range]
        first += vote([(each.column.middle, each.range) for each in known if each.range is not None])
    return first


def _most(stated: Sequence[str], kind: str) -> list[str]:
    same = [name for name in stated if units.canonical(name) == kind]
    return [max(set(same), key=same.count)] if same else []


def _place(candidate: Candidate, preferred: Sequence[str], found: Mapping) -> None:
    column, meaning = candidate.column, candidate.meaning
    if meaning.of_disc and not meaning.is_set:
        found.characteristics.append(_mapped(candidate, _disc_key(candidate), preferred))
        return
    key = meaning.key
    setting = meaning.is_set or (_could_be_set(key) and column.is_stepwise() and "actual" not in meaning.said)
    if setting:
        key = "hold_pressure" if key == "hold_melt_pressure" else key
        if key is None or not meanings.is_known_setting(key):
            found.left_out.append((column, "a setting that has no place in the table of quantities"))
        else:
            found.setpoints.append(_setting(_mapped(candidate, key, preferred), said=meaning.is_set))
        return
    key = "hold_melt_pressure" if key == "hold_pressure" else key
    if key is None or not meanings.is_known_value(key):
        key = meaning.slug
    if candidate.stated is None and candidate.range is None:
        found.left_out.append(
            (column, "its name tells neither quantity nor unit; to keep it, give a key and a unit")
        )
        return
    found.values.append(_mapped(candidate, key, preferred))


def _disc_key(candidate: Candidate) -> str:
    meaning = candidate.meaning
    if meaning.key != "part_weight":
        return meaning.key or meaning.slug.removeprefix("quality_")
    cavity = last_number(candidate.column.name) if "cavity" in meaning.said else None
    return "weight" if cavity is None or not 1 <= cavity <= MOST_CAVITIES else f"weight.{cavity}"


def _could_be_set(key: str | None) -> bool:
    return key is not None and (meanings.is_known_setting(key) or key == "hold_melt_pressure")


def _setting(mapped: Mapped, *, said: bool) -> Mapped:
    reading = how_to_read(mapped.key, mapped.unit, "setpoint")
    if not isinstance(reading, Problem):
        mapped.tolerance = float(f"{abs(mapped.column.middle) * mapped.factor * reading.factor * WOBBLE:.1g}")
    if not said:
        mapped.doubts.append("it keeps a value for long and then takes another, so it is taken for a setting")
    return mapped


def _like_its_actual(setting: Mapped, values: Sequence[Mapped]) -> None:
    """A switchover point without a unit is a volume where the press's own switchover volume is as large."""
    actual = next((each for each in values if each.key == "switchover_volume"), None)
    if (
        setting.key != "switchover_position"
        or actual is None
        or "unit is written" not in " ".join(setting.doubts)
    ):
        return
    if abs(setting.column.middle - actual.column.middle) > 0.05 * abs(actual.column.middle):
        return
    setting.key, setting.unit = actual.key, actual.unit
    setting.doubts = [
        f"it is as large as column {actual.column.name!r}, so it is taken for the setting of that"
    ]


def _mapped(candidate: Candidate, key: str, preferred: Sequence[str]) -> Mapped:
    column, range_ = candidate.column, candidate.range
    if candidate.stated is not None and (range_ is None or _measures_else(candidate, range_)):
        mapped = Mapped(column, key, candidate.stated)
    else:
        token = TOKEN.fullmatch(column.name) is not None
        assert range_ is not None, "a column with neither unit nor range was left out"
        choice = choose_unit(key, column.middle, candidate.stated, range_, preferred, token=token)
        mapped = Mapped(column, key, choice.unit, choice.factor)
        mapped.doubts += [choice.doubt] if choice.doubt else []
    if candidate.meaning.key is None:
        mapped.doubts.append("the name is that of no known quantity, so it is kept under its own name")
    if key.partition(".")[0].endswith("temperature") and "temperature" not in candidate.meaning.said:
        mapped.doubts.append("the name does not say that it is a temperature; its values are usual for one")
    if key.startswith("barrel_temperature") and "barrel" not in candidate.meaning.said:
        mapped.doubts.append("the name does not say of what this is a zone; the barrel is taken")
    if key == "mold_cavity_temperature" and "nozzle" in candidate.meaning.said:
        mapped.doubts.append("the mold half on the nozzle's side is taken, not the nozzle of the barrel")
    mapped.doubts += candidate.meaning.guesses
    _note_zeros(mapped)
    return mapped


def _measures_else(candidate: Candidate, range_: Usual) -> bool:
    """Whether a name of no known quantity has a unit of its own kind, as a pressure's integral in bar*s."""
    stated = candidate.stated
    return (
        candidate.meaning.key is None
        and stated is not None
        and units.canonical(stated) != units.canonical(range_.units[0])
    )


def _note_zeros(mapped: Mapped) -> None:
    numbers, nonzero = mapped.column.numbers, [abs(number) for number in mapped.column.nonzero]
    zeros = len(numbers) - len(nonzero)
    if zeros and mapped.key in WITNESSES:  # a screw that bottomed leaves no cushion, which must be seen
        mapped.doubts.append(f"{zeros} of {len(numbers)} sampled cells are 0, as may be: a zero is a value")
    elif zeros and min(nonzero) > 0.1 * abs(mapped.column.middle):
        mapped.zero_means_not_written = True
        mapped.doubts.append(
            f"{zeros} of {len(numbers)} sampled cells are 0 while the others are {min(nonzero):g} to "
            f"{max(nonzero):g}, so a zero is taken for not written"
        )


def _one_column_a_key(scope: list[Mapped], found: Mapping) -> None:
    """Where several columns are one quantity, the one with the most values is it; others keep their names."""
    for key in sorted({each.key for each in scope}):
        same = [each for each in scope if each.key == key]
        best = max(
            same,
            key=lambda each: (
                len(each.column.nonzero) if each.zero_means_not_written else len(each.column.numbers)
            ),
        )
        others = [each for each in same if each is not best]
        if others:
            best.doubts.append(
                f"column {' and '.join(repr(o.column.name) for o in others)} could be {key} as well"
            )
        for other in others:
            if scope is found.setpoints:
                scope.remove(other)
                found.left_out.append((other.column, f"{key} is taken from another column"))
            else:
                other.key = _free_key(meanings.meaning(other.column.name).slug, scope)
                other.doubts.append(f"it could be {key}, which is taken from column {best.column.name!r}")


def _free_key(wanted: str, scope: Sequence[Mapped]) -> str:
    taken = {each.key for each in scope}
    free = [wanted, *(f"{wanted}.{number}" for number in range(2, 100))]
    return next((key for key in free if key not in taken), wanted)


def _by_the_file_name(candidates: Sequence[Candidate], file_name: str, found: Mapping) -> None:
    """Where no header tells a quantity: the name of the file may, if there is one column of numbers."""
    settings = {mapped.column.place for mapped in found.setpoints}
    rest = [each for each in candidates if each.column.place not in settings]
    hint = _hint(file_name) if len(rest) == 1 else None
    for candidate in rest:
        column = candidate.column
        found.left_out[:] = [each for each in found.left_out if each[0] is not column]
        if hint is None:
            found.values.append(as_bare_number(candidate))
            continue
        _place(Candidate(column, hint, candidate.stated), [], found)
        for mapped in (*found.values, *found.characteristics):
            mapped.doubts.insert(0, f"what it is was taken from the name of the file, {file_name!r}")


def _hint(file_name: str) -> Meaning | None:
    """What the first words of a file's name mean, as few of them as mean something."""
    words = [word for word in re.split(r"[^A-Za-zÀ-ÿ0-9]+", file_name.rpartition(".")[0]) if word]
    for count in range(1, len(words) + 1):
        meaning = meanings.meaning(" ".join(words[:count]))
        if meaning.key is not None or meaning.said & KINDS.keys():
            return meaning
    return None
