"""The next disc in big letters, and the field below it ready for a gauge that types like a keyboard."""

from __future__ import annotations

from html import escape

FIELD = "gauging_text"

# Shapes of plain boxes: Streamlit strips drawings from HTML that carries no script.
_MARKS = {
    "square": "background:{act}",
    "circle": "border:.22em solid {gray};border-radius:50%",
}


def card(mark: str, reason: str, where: str, origin: str, *, dark: bool) -> str:
    """HTML of the card: a mark with its reason, the place in big letters, the origin below.

    Parameters
    ----------
    mark : {'square', 'circle'}
        Blue square: a person must act. Gray circle: routine.
    reason, where, origin : str
        Plain text; escaped here.
    dark : bool
        Colors for a dark background.
    """
    colors = {"act": "#74b6ff" if dark else "#0a57a8", "gray": "#a7aeb8" if dark else "#5a6068"}
    shape = _MARKS[mark].format(**colors)
    return (
        '<div style="line-height:1.25">'
        '<div style="display:flex;align-items:center;gap:.5rem;font-size:1.25rem;font-weight:600">'
        f'<span aria-hidden="true" style="width:1.1em;height:1.1em;{shape}"></span>{escape(reason)}</div>'
        f'<div style="font-size:clamp(2.4rem,6.4vw,4rem);font-weight:700">{escape(where)}</div>'
        f'<div style="font-size:1.4rem">{escape(origin)}</div></div>'
    )


def field_style() -> str:
    """Makes the one number field big enough to read across a bench."""
    return (
        f"<style>.st-key-{FIELD} input{{font-size:3rem;font-weight:700;height:5rem;padding:0 1rem}}"
        f".st-key-{FIELD} [data-testid=stTextInputRootElement]{{height:auto}}"
        f".st-key-{FIELD} label p{{font-size:1.15rem}}</style>"
    )


def focus_script(turn: str, *, select: bool) -> str:
    """Puts the cursor into the field, so that the gauge's keystrokes land there.

    Parameters
    ----------
    turn : str
        Changes with every entry; the browser runs the script again only when its text changed.
    select : bool
        Select what stands in the field, so that the next reading replaces it. Never after an entry that
        was taken: the next reading may be coming in already.
    """
    # The field may be drawn a moment after the script, and the page frame takes the focus when it opens:
    # so for two seconds the field gets it whenever nothing else that takes input has it.
    return (
        f"<script>/* {escape(turn)} */ (() => {{ let turns = 14, mark = {str(select).lower()};"
        "const look = () => {"
        f"const field = document.querySelector('.st-key-{FIELD} input'), now = document.activeElement;"
        "if (field && field !== now && !(now && now.matches('input, textarea, button'))) {"
        "field.setAttribute('inputmode', 'decimal'); field.focus(); }"
        "if (field && mark) { mark = false; field.select(); }"
        "if (turns-- > 0) setTimeout(look, 150); }; look(); })()</script>"
    )
