"""The document: one HTML file with nothing outside it, for a screen and for paper."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import jinja2
from markupsafe import Markup

from collector.contract import quantities
from dashboard.audit import decided, disc_tables, figures, people, tables, words
from dashboard.audit.audit import Audit
from dashboard.blocks.event_words import step_words

HERE = Path(__file__).parent
CERTAINTY = {
    "clear": "clear, it rests on a test within this run",
    "likely": "likely, one kind of evidence speaks for it",
    "weak": "weak, it may well be chance",
    "none": "none, the data support no statement",
}

MEANINGS = (
    "recorded: repeats what the store holds.",
    "clear: rests on a test within this run.",
    "likely: rests on limits from few shots, or on one kind of evidence.",
    "weak: may well be chance.",
)


def html(audit: Audit) -> str:
    """The document of an audit; the same audit gives the same bytes.

    Parameters
    ----------
    audit : Audit

    Returns
    -------
    str
        HTML with its style and drawings inside: no script, no font, no picture and no address elsewhere.
    """
    return _template().render(
        audit=audit, run=audit.evidence.run, shots=audit.evidence.shots, conclusion=audit.conclusion,
        evidence=audit.evidence, certainty=CERTAINTY[audit.conclusion.certainty], tables=tables,
        disc_tables=disc_tables, people=people, decided=decided, words=words,
        step_words=step_words, label=quantities.label,
        meanings=MEANINGS, zone=audit.clock.zone.key, clock=audit.clock, digest=audit.evidence.digest(),
        tracks=[(each.title, Markup(each.svg)) for each in figures.tracks(audit)],  # noqa: S704 - drawn by us
        readings=[(each.title, Markup(each.svg)) for each in figures.readings(audit)],  # noqa: S704
        foot=Markup(in_css(f"Run audit {audit.evidence.run.name}, {audit.evidence.run.press}")),  # noqa: S704
        style=Markup((HERE / "document.css").read_text(encoding="utf-8")),  # noqa: S704 - our own file
    )  # fmt: skip


def in_css(text: str) -> str:
    """A text as it stands in a string of CSS inside HTML, where neither may end early."""
    return "".join(
        letter if letter.isalnum() or letter in " ,.-" else f"\\{ord(letter):06x}" for letter in text
    )


@lru_cache(maxsize=1)
def _template() -> jinja2.Template:
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(HERE), autoescape=True, undefined=jinja2.StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    return environment.get_template("document.html")
