"""The document: the same bytes for the same evidence, nothing outside it, text escaped, edits shown."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest
import sqlalchemy as sa

from collector.store import database, tables
from dashboard.audit import disc_tables as audit_disc_tables
from dashboard.audit import render
from dashboard.audit import tables as audit_tables
from tests.dashboard.audit import floor


@pytest.fixture(scope="module")
def page(warm):
    return render.html(warm)


@pytest.fixture
def own_store(tmp_path):
    engine = floor.new_store(tmp_path)
    floor.store_run(engine, tmp_path)
    yield engine
    engine.dispose()


def test_the_same_evidence_gives_the_same_bytes(warm_run, audited, page, warm):
    again = audited(warm_run)
    assert render.html(again) == render.html(audited(warm_run))
    assert again.to_json() == audited(warm_run).to_json()
    assert warm.evidence.shots.digest == again.evidence.shots.digest


class References(HTMLParser):
    """Collects whatever a browser would load, follow or run."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag, attrs):
        if tag in {"script", "link", "iframe", "img", "object", "embed", "a", "use", "image"}:
            self.found.append(tag)
        self.found += [name for name, _ in attrs if name in {"src", "href", "xlink:href"} or name[:2] == "on"]


def test_nothing_outside_the_file_is_referred_to(page):
    references = References()
    references.feed(page)
    assert references.found == []
    assert "http" not in page
    assert "@import" not in page
    assert "url(" not in page


def test_names_from_outside_are_text_and_never_markup(page):
    assert "<b>9" not in page
    assert "R-&lt;b&gt;9&lt;/b&gt; &amp; co" in page


def test_every_printed_page_names_the_run_and_a_name_cannot_leave_its_text(page):
    assert "Run audit R-\\00003cb\\00003e9\\00003c\\00002fb\\00003e \\000026 co, P2" in page
    assert render.in_css('"}</style>é') == "\\000022\\00007d\\00003c\\00002fstyle\\00003eé"


def test_figures_of_the_discs_have_no_exponent(warm):
    """A wide interval once read ``542 (70.5 to 1.55e+03)`` of a thousand."""
    ((*_, expected, _),) = audit_disc_tables.capabilities(warm).rows
    numbers = [float(each.replace(",", "")) for each in re.findall(r"[\d.,]+", expected)]
    assert "e" not in expected
    assert numbers == pytest.approx([p / 1000 for p in _ppm(warm)], rel=0.01)


def _ppm(audit):
    total = audit.found.capable[0].result.rejects.total
    return [total.estimate, total.low, total.high]


def test_the_json_holds_the_figures_that_the_page_shows(warm, page):
    read = json.loads(warm.to_json())
    assert read["digests"]["evidence"] in page
    assert read["digests"]["shots"] in page
    assert read["digests"]["journal_head"] in page
    shift = next(h for h in read["findings"]["histories"] if h["key"] == "mold_core_temperature")["shifts"][0]
    assert read["shot_counters"][shift["place"]] == floor.WARM.start
    assert f"{shift['after']:.2f}" in page


def test_sound_shots_are_said_to_match_their_digests(page, warm):
    assert warm.evidence.shots.broken == ()
    assert "All 300 stored shots match the digest" in page


def test_an_altered_stored_shot_is_reported_by_its_number(own_store, audited):
    with own_store.begin() as conn:
        row = conn.execute(sa.select(tables.shots).where(tables.shots.c.counter == 666)).one()
        values = {**row.characteristics, "mold_core_temperature": 31.0}
        conn.execute(
            sa.update(tables.shots).where(tables.shots.c.id == row.id).values(characteristics=values)
        )
    altered = audited(own_store)
    assert altered.evidence.shots.broken == ("666",)
    first = altered.conclusion.statements[0]
    assert "1 stored shot" in first.text
    assert "shot 666" in first.text
    assert "Shots that no longer match their digest: 666" in render.html(altered)


def test_a_shot_altered_together_with_its_digest_changes_the_printed_digest(own_store, audited):
    before = audited(own_store)
    with own_store.begin() as conn:
        conn.execute(
            sa.update(tables.shots).where(tables.shots.c.counter == 666).values(digest=b"\1" * 32)
        )
    after = audited(own_store)
    assert after.evidence.shots.digest != before.evidence.shots.digest
    assert after.evidence.digest() != before.evidence.digest()


def test_an_altered_journal_is_reported(own_store, audited):
    with database.write(own_store) as conn:
        from_journal = conn.execute(sa.select(sa.func.count()).select_from(tables.journal)).scalar_one()
        assert from_journal == 0
        wrong = {
            "at": floor.NOW, "wall_at": floor.NOW, "who": "operator 1", "action": "test", "subject": "x",
            "previous_digest": bytes(32), "digest": b"\2" * 32,
        }  # fmt: skip
        conn.execute(sa.insert(tables.journal).values(**wrong))
    altered = audited(own_store)
    assert any("journal was altered" in each.text for each in altered.conclusion.statements)


def test_the_document_explains_its_words_and_says_nothing_of_wolves(page):
    for word in ("recorded", "clear", "likely", "weak"):
        assert len(re.findall(rf"<li>{word}: ", page)) == 1
    assert "tell as much as 60 independent ones would" in page
    assert "wolf" not in page


def test_every_tray_of_a_hold_is_named(warm):
    hold = replace(warm.evidence.holds[0], trays=("1", "2", "4", "6", "8", "9"))
    audit = replace(warm, evidence=replace(warm.evidence, holds=(hold,)))
    assert audit_tables.holds(audit).rows[0][4] == "trays 1 to 2, 4, 6 and 8 to 9"


def test_every_color_has_a_shape_or_a_word_beside_it(page):
    assert not re.findall(r"(?:fill|stroke|color|background):? ?[\"=]*(?:red|#f00|#ff0000)\b", page)
    assert 'aria-label="signal"' in page
    assert 'aria-label="a person must act"' in page
