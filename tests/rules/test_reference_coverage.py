"""Is every published value of the reference held by a test? The list, and the files that name each.

A test that holds a value names its id: whole, or, where a parameter completes it, up to the last full stop
(``f"strd.anova.{name}"``). Run with ``-s`` to see where each is held.
"""

from __future__ import annotations

import re
from functools import lru_cache
from pathlib import Path

import pytest

from tests import outside

TESTS = Path(__file__).parents[1]
_LISTED = """
    const.table const.d2d3.closed nist.6.3.2.2.flow nist.6.3.2.3.cusum nist.6.3.2.4.ewma nist.6.3.3.1.c
    nist.6.3.3.2.p mont.7.1.p.revised nist.6.5.4.1.meancov nist.6.1.6.capability nist.6.1.6.rejects
    nist.2.6.1.gauge.resistivity nist.2.6.2.checkstd nist.3.2.3.1.oneway nist.3.5.1.furnace strd.univ.Lew
    strd.univ.Lottery strd.univ.Mavro strd.univ.Michelso strd.univ.NumAcc1 strd.univ.NumAcc2
    strd.univ.NumAcc3 strd.univ.NumAcc4 strd.univ.PiDigits strd.anova.AtmWtAg strd.anova.SiRstv
    strd.anova.SmLs01 strd.anova.SmLs02 strd.anova.SmLs03 strd.anova.SmLs04 strd.anova.SmLs05
    strd.anova.SmLs06 strd.anova.SmLs07 strd.anova.SmLs08 strd.anova.SmLs09 strd.lin.Norris
    strd.lin.Longley strd.lin.Wampler1 strd.lin.Wampler2 strd.lin.Wampler3 strd.lin.Wampler4
    strd.lin.Wampler5 arl.runsrules.champwoodall arl.nelson.single arl.trend.variants arl.cusum.k05
    design.cusum.h370 arl.ewma.lucas_saccucci mont.visc.imr mont.loan.imr mont.floww.xbarr
    mont.floww.xbars mont.piston mont.cusum.tab mont.ewma.tab msa.grr.avgrange msa.grr.anova cap.floww
    cap.cp.ci20 cap.cpk.ci20 cap.ci.table tol.k.normal tol.nist.7.2.6.3 tol.wilks ar1.ichart.known
    ar1.ichart.known.rawmc ar1.phase1.estimated t2.limits t2.tym t2.ryan.subgroups cp.nile cp.stepmle
    mont.pcb.c attr.p.varn.laney attr.c.u.ishikawa attr.c.problimits pattern.nelson
"""
IDS = _LISTED.split()
POWERS = "a polynomial of the fifth degree; no module here fits powers of a value"
# What no module here computes, and why.
NOT_OURS = {
    "strd.lin.Longley": "six predictors at once; the only line fitted here has one (see strd.lin.Norris)",
    **{f"strd.lin.Wampler{number}": POWERS for number in range(1, 6)},
}


@lru_cache(maxsize=1)
def _texts() -> dict[str, str]:
    """Every test's text but this one's, by its path."""
    files = [path for path in TESTS.rglob("test_*.py") if path != Path(__file__)]
    return {str(path.relative_to(TESTS)): path.read_text(encoding="utf-8") for path in sorted(files)}


def _held_in(entry: str) -> list[str]:
    """Files that name an id, or the family that a parameter completes to it."""
    family = entry.rpartition(".")[0]
    whole = rf"(?<![\w.]){re.escape(entry)}(?![\w]|\.\w)"
    completed = rf"(?<![\w.]){re.escape(family)}\.(?:\{{|[A-Z]{{2,}}\b|[\"'])"
    pattern = re.compile(f"{whole}|{completed}")
    # Looking for the plain words first spares the slow pattern nearly everywhere.
    return [
        name
        for name, text in _texts().items()
        if (entry in text or f"{family}." in text) and pattern.search(text)
    ]


def test_every_value_of_the_reference_is_held_by_a_test_or_said_to_be_no_rule() -> None:
    held = {entry: _held_in(entry) for entry in IDS if entry not in NOT_OURS}
    for entry, files in held.items():
        print(f"{entry:32} {', '.join(files) or '-'}")
    print(f"{sum(map(bool, held.values()))} of {len(IDS)} held, {len(NOT_OURS)} not computed here")

    missing = [entry for entry, files in held.items() if not files]
    assert not missing, f"no test names {', '.join(missing)}; name each where its value is held"


@pytest.mark.parametrize("entry", NOT_OURS)
def test_what_is_said_to_be_no_rule_is_not_held_after_all(entry: str) -> None:
    assert entry in IDS
    assert not _held_in(entry), f"{entry} is held by a test; take it off the list of exceptions"


def test_the_list_is_the_whole_reference() -> None:
    assert list(outside.entries()) == IDS
    assert len(set(IDS)) == len(IDS) == 77
