"""Text that was written elsewhere, shown as it is: no sign in it becomes a link, a picture or a color."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

_SIGNS = str.maketrans({sign: f"\\{sign}" for sign in r"\`*_{}[]<>()#+-.!|~:$"})
# In running text a full stop or a hyphen means nothing, and a colon only before a word.
_IN_TEXT = re.compile(r"[\\`*_{}\[\]<>$~|]|:(?=[A-Za-z])")
# Addresses become links whatever is escaped; a sign without width inside them keeps them text.
_ADDRESS = re.compile(r"(?:https?|ftp)(?=:)|www(?=\.)|(?=@)", re.IGNORECASE)
_JOINER = "\N{WORD JOINER}"


def sentence(text: str) -> str:
    """A sentence of ours with names in it, for ``st.markdown``: the names stay as they were written."""
    return _IN_TEXT.sub(r"\\\g<0>", _unlinked(text))


def badge(text: str) -> str:
    """The same for ``st.badge``, which escapes brackets itself."""
    return sentence(text).replace(r"\[", "[").replace(r"\]", "]")


def plain(text: str) -> str:
    """A text for ``st.markdown`` and for cells of ``st.table``, with every sign of Markdown escaped."""
    return _unlinked(text).translate(_SIGNS)


def plain_rows(rows: Iterable[Mapping[str, str]]) -> list[dict[str, str]]:
    """Rows for ``st.table``, which takes cells for Markdown."""
    return [{name: plain(cell) for name, cell in row.items()} for row in rows]


def _unlinked(text: str) -> str:
    return _ADDRESS.sub(lambda found: found[0] + _JOINER, text)
