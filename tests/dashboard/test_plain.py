"""Names and notes that others wrote, as Streamlit's Markdown shows them."""

from __future__ import annotations

import pytest

from dashboard.blocks.plain import badge, plain, sentence

JOINER = "\N{WORD JOINER}"


def test_every_sign_of_markdown_is_escaped() -> None:
    assert plain("a_b *c* [d](e) :red[f]") == r"a\_b \*c\* \[d\]\(e\) \:red\[f\]"
    assert sentence("a_b *c* :red[f], 3.5 at 12:40") == r"a\_b \*c\* \:red\[f\], 3.5 at 12:40"


# GitHub Flavored Markdown, "Autolinks (extension)": these become links without any sign around them, and
# Streamlit looks for them after escapes were taken away.
@pytest.mark.parametrize("address", ["http://x.example", "HTTPS://x.org", "www.x.example", "me@x.example"])
@pytest.mark.parametrize("shown", [plain, sentence, badge])
def test_an_address_in_a_name_becomes_no_link(shown: object, address: str) -> None:
    assert callable(shown)
    words = shown(address).replace("\\", "")
    assert words.replace(JOINER, "") == address
    assert address not in words


def test_a_badge_escapes_its_brackets_itself() -> None:
    assert badge("a [b](c) *d*") == r"a [b](c) \*d\*"
