"""Gaugings find their shots: on a real run with its offset known, and on lists whose truth is known."""

from __future__ import annotations

import csv
import math
from collections.abc import Callable

import numpy as np
import pytest

from rules.alignment import align, propose_offset
from tests import outside


def _cap_run() -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Weights of the raw list, outer diameters of the raw projector file; peak pressure, diameter by shot."""
    folder = outside.folder() / "data" / "real-cap-run"
    with (folder / "shots.csv").open(encoding="utf-8", newline="") as file:
        shots = list(csv.DictReader(file))
    raw_weights = (folder / "Gewicht_Strgrsn_Umschaltpkt_WKZTemp.csv").read_text(encoding="utf-8").split()
    with (folder / "Messdaten_Strgrsn_Umschaltpunkt_WKZTemp.csv").open(encoding="utf-8", newline="") as file:
        projector = list(csv.DictReader(file, delimiter=";"))
    return (
        np.array([float(weight) for weight in raw_weights]),
        np.array([float(row["Durchmesser_außen"] or "nan") for row in projector]),
        np.array([float(row["calc_peak_p_inj_bar"]) for row in shots]),
        np.array([float(row["quality_Durchmesser_außen"] or "nan") for row in shots]),
    )


def test_the_raw_weights_of_the_real_run_belong_where_they_are_known_to() -> None:
    """The list and the shots match row for row: the true offset is 0."""
    weights, _, pressure, _ = _cap_run()

    found = align(weights, pressure)

    assert found.proposal is not None
    assert found.proposal.supported
    assert (found.offset, found.proposal.offset) == (0, 0)
    assert found.proposal.correlation > 0.7
    assert found.shots[:3] == (0, 1, 2)


@pytest.mark.parametrize("lost", [1, 3, 7])
def test_a_list_that_begins_later_is_moved_back_to_its_shots(lost: int) -> None:
    weights, _, pressure, _ = _cap_run()

    assert align(weights[lost:], pressure).offset == lost
    assert align(weights, pressure[lost:]).offset == -lost
    assert align(weights, pressure[lost:]).shots[: lost + 1] == (*[None] * lost, 0)


def test_the_raw_projector_file_matches_the_merged_table_at_offset_zero() -> None:
    _, projector, _, by_shot = _cap_run()

    found = align(projector, by_shot)

    assert found.offset == 0
    assert found.proposal is not None
    assert found.proposal.supported
    assert len(found.mapping()) == 159


def test_where_pressure_says_nothing_about_diameter_no_offset_is_chosen() -> None:
    _, projector, pressure, _ = _cap_run()

    found = align(projector, pressure)

    assert found.proposal is not None
    assert not found.proposal.supported
    assert found.offset == 0
    assert "do not support a choice" in found.proposal.sentence


def test_unrelated_values_are_hardly_ever_given_an_offset() -> None:
    rng = np.random.default_rng(1)
    fooled = sum(
        propose_offset(rng.standard_normal(60), np.cumsum(rng.standard_normal(200)) * 0.3).supported
        for _ in range(200)
    )

    assert fooled <= 4  # made for 1 in 100 at most


def test_a_related_list_is_found_although_both_drift() -> None:
    rng = np.random.default_rng(2)
    right = 0
    for _ in range(50):
        shots = np.cumsum(rng.standard_normal(200)) * 0.3 + rng.standard_normal(200)
        gauged = -0.5 * shots[9:109] + 0.4 * rng.standard_normal(100)
        proposal = propose_offset(gauged, shots)
        right += proposal.supported and proposal.offset == 9
        assert not (proposal.supported and proposal.offset != 9)

    assert right >= 45


def test_plain_order_counts_from_the_offset() -> None:
    assert align([1.0, 2.0, 3.0], offset=4).shots == (4, 5, 6)
    assert align([1.0, 2.0, 3.0], offset=-1, shot_count=2).shots == (None, 0, 1)
    assert align([1.0, 2.0], offset=1, shot_count=2).mapping() == {0: 1}
    assert align([]).shots == ()


def test_gaps_skip_shots_and_doubles_stay() -> None:
    found = align([1.0] * 6, offset=10, gaps={0: 1, 3: 2}, doubles=[2])

    assert found.shots == (11, 12, 12, 15, 16, 17)


def test_a_gap_and_a_double_are_taken_into_account_when_an_offset_is_proposed() -> None:
    rng = np.random.default_rng(3)
    shots = rng.standard_normal(120)
    true = [5 + i for i in range(30)] + [38 + i for i in range(30)]
    true.insert(10, true[9])
    gauged = shots[true] + 0.3 * rng.standard_normal(61)

    found = align(gauged, shots, gaps={31: 3}, doubles=[10])

    assert list(found.shots) == true


def test_an_anchor_overrules_the_offset_and_everything_counts_from_it() -> None:
    assert align([1.0] * 5, offset=0, anchors={2: 12}).shots == (10, 11, 12, 13, 14)


def test_between_anchors_too_far_apart_the_places_are_called_uncertain() -> None:
    found = align([1.0] * 8, anchors={1: 11, 5: 17})

    assert found.shots == (10, 11, 12, 13, 14, 17, 18, 19)
    assert found.uncertain == (2, 3, 4)


def test_a_key_that_both_columns_hold_once_is_an_anchor() -> None:
    found = align(
        [1.0] * 4, order_keys=[None, "B7", "B9", "B9"], shot_keys=["B5", "B6", "B7", "B8", "B9", math.nan]
    )

    assert found.shots == (1, 2, 3, 4)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: align([1.0] * 5, anchors={1: 11, 3: 12}), "Gauging 3 cannot be of shot 12"),
        (lambda: align([1.0] * 5, anchors={9: 11}), "anchor at gauging 9 is outside"),
        (lambda: align([1.0] * 5, anchors={1: -1}), "names shot -1"),
        (lambda: align([1.0] * 5, gaps={1: -1}), "gap before gauging 1 is -1"),
        (lambda: align([1.0] * 5, doubles=[0]), "first gauging cannot be a double"),
        (lambda: align([1.0] * 5, order_keys=["A"] * 5), "Only one of the two key columns"),
        (lambda: propose_offset([1.0], [1.0], search=-1), "search over -1 shots"),
    ],
)
def test_what_contradicts_itself_is_refused_with_a_sentence(call: Callable[[], object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        call()


def test_too_short_a_list_says_so() -> None:
    proposal = propose_offset([1.0, 2.0, 3.0], [1.0, 2.0, 3.0, 4.0])

    assert not proposal.supported
    assert "Fewer than 12 pairs" in proposal.sentence
    assert math.isnan(proposal.correlation)
