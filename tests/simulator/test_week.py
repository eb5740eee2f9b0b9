"""What is printed of the alarms of an ordinary week, held against counting."""

from __future__ import annotations

import re
from types import SimpleNamespace
from typing import Any, cast

import pytest

from simulator import week


@pytest.mark.parametrize("delays", [[4], [1, 2, 3, 4, 100], [*range(9), 50], [*range(20)], [7, 7, 9]])
def test_nine_in_ten_faults_were_alarmed_within_what_is_said(delays: list[int]) -> None:
    told = [SimpleNamespace(matter=SimpleNamespace(shown_by={"cushion": 0}), delay=each) for each in delays]
    (sentence,) = week._times(cast("Any", SimpleNamespace(told=told)))

    found = re.search(r"alarmed, (\d+) shots .* within (\d+)\)", sentence)
    assert found is not None
    middle, late = map(int, found.groups())
    for share, said in ((0.5, middle), (0.9, late)):
        assert sum(each <= said for each in delays) >= share * len(delays)
        assert sum(each < said for each in delays) < share * len(delays)
