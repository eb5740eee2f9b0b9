"""Text that was written elsewhere, shown as it is: no sign in it becomes a link, a picture or a color."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

_SIGNS = str.maketrans({sign: f"\\{sign}" for sign in r"\`*_{}[]<>()#+-.!|~:$"})


def plain(text: str) -> str:
    """A text for ``st.markdown`` and for cells of ``st.table``, with every sign of Markdown escaped."""
    return text.translate(_SIGNS)


def plain_rows(rows: Iterable[Mapping[str, str]]) -> list[dict[str, str]]:
    """Rows for ``st.table``, which takes cells for Markdown."""
    return [{name: plain(cell) for name, cell in row.items()} for row in rows]
