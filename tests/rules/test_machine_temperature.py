"""A real characteristic that wanders: what is said of it, what is proposed, and what that sees.

Readings of a large machine's temperature every five minutes for eleven weeks, with the windows of four known
events (public, MIT license). Limits come from the first week alone; the windows only judge them.
"""

from __future__ import annotations

import pytest

from rules.baseline import Proposal, propose_charts, study
from tests import outside
from tests.benchmarks.wandering_machine import (
    BASELINE_DAYS,
    FLOOR,
    READINGS_PER_DAY,
    Machine,
    outcome,
    plain,
    read,
    signals,
)


@pytest.fixture(scope="module")
def machine() -> Machine:
    return read(outside.folder())


@pytest.fixture(scope="module")
def proposal(machine: Machine) -> Proposal:
    return propose_charts(machine.values[: BASELINE_DAYS * READINGS_PER_DAY], FLOOR)


def test_the_baseline_ends_before_the_first_event(machine: Machine) -> None:
    assert machine.stamps[BASELINE_DAYS * READINGS_PER_DAY - 1] < machine.windows[0][0]
    assert len(machine.values) == 22_695
    repeated = len(machine.stamps) - len(set(machine.stamps))
    assert repeated == 12


@pytest.mark.parametrize("days", [3, 5, 7])
def test_the_study_says_that_it_wanders_and_refuses_a_plain_chart(machine: Machine, days: int) -> None:
    found = study(machine.values[: days * READINGS_PER_DAY])

    assert found.wanders
    assert found.correlation.phi > 0.98
    assert found.standing.name == "provisional"
    assert any("wanders" in note for note in found.notes)
    assert any("plain chart" in note and "cannot work" in note for note in found.notes)


def test_limits_to_confirm_are_proposed_in_place_of_a_plain_chart(proposal: Proposal) -> None:
    assert proposal.kind == "band"
    assert "plain chart is refused" in proposal.why
    assert "Confirm that the product is good" in proposal.confirm
    assert {planned.name for planned in proposal.charts} == {"engineering_limits", "moving_range"}
    assert proposal.standing == "provisional"


def test_it_keeps_quiet_before_the_first_event_and_sees_both_failures(
    machine: Machine, proposal: Proposal
) -> None:
    found = outcome(machine, signals(proposal.charts, machine.values))

    assert found.before_tenth <= 2
    assert found.seen[1]  # 16 December
    assert found.seen[3]  # 8 February
    assert len(found.outside) <= 15


@pytest.mark.parametrize("days", [4, 5, 6])
def test_fewer_days_of_baseline_lead_to_the_same(machine: Machine, days: int) -> None:
    """With these the days up to the first event are new to the limits."""
    made = propose_charts(machine.values[: days * READINGS_PER_DAY], FLOOR)

    found = outcome(machine, signals(made.charts, machine.values))
    assert found.before_tenth <= 2
    assert found.seen[1]
    assert found.seen[3]


def test_too_short_a_stretch_gets_no_band_but_is_told_how_much_is_missing(machine: Machine) -> None:
    made = propose_charts(machine.values[: 2 * READINGS_PER_DAY], FLOOR)

    assert made.kind == "none"
    assert made.charts == ()
    assert "collect about" in made.confirm


def test_a_plain_chart_would_be_out_of_its_limits_most_of_the_time(
    machine: Machine, proposal: Proposal
) -> None:
    textbook = plain(study(machine.values[: BASELINE_DAYS * READINGS_PER_DAY]))

    wide = outcome(machine, signals(proposal.charts, machine.values))
    narrow = outcome(machine, signals(textbook, machine.values))
    assert narrow.signaling > 0.5
    assert wide.signaling < 0.05
    assert narrow.before_tenth > 2
