"""Pieces of a page: every text from outside goes through `escape` here, and nowhere else is markup written."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape as escape
from typing import Any

# A white card with black text of its own, so that a dark theme leaves it legible; focus is shown by a thick frame.
STYLE = """<style>
.gp-reveal {display:none!important}
.gp-quiz {background:#fff; color:#000; color-scheme:light; border:1px solid #595959; border-radius:4px;
  padding:14px 18px; max-width:860px; box-sizing:border-box; --jp-widgets-label-color:#000; --jp-widgets-color:#000;
  --jp-widgets-input-color:#000; --jp-widgets-input-background-color:#fff; --jp-widgets-input-border-color:#595959;
  --jp-content-font-color1:#000; --jp-ui-font-color1:#000;
  --jp-widgets-font-size:15px; --jp-widgets-inline-height:32px}
.gp-quiz .widget-html, .gp-quiz .widget-html-content {color:#000; font-size:15px; line-height:1.45; height:auto}
.gp-quiz .widget-html {margin:2px 0}
.gp-quiz h3 {margin:0 0 2px; font-size:1.05em; color:#000}
.gp-quiz p {margin:4px 0 6px; max-width:74ch; color:#000; overflow-wrap:anywhere}
.gp-quiz table {border-collapse:collapse; margin:6px 0; color:#000; background:#fff}
.gp-quiz th, .gp-quiz td {font-size:15px; border:1px solid #8c8c8c; padding:3px 10px; text-align:left;
  background:#fff; color:#000}
.gp-quiz th {font-weight:bold}
.gp-quiz thead th {border-bottom:2px solid #000}
.gp-quiz ul {margin:4px 0 6px; padding-left:22px; max-width:74ch; color:#000; overflow-wrap:anywhere}
.gp-quiz .widget-radio, .gp-quiz .widget-radio-box {width:100%; height:auto; margin:0; box-sizing:border-box}
.gp-quiz .widget-radio-box label {display:flex; align-items:flex-start; gap:8px; width:100%; max-width:74ch;
  height:auto; margin:0; padding:3px 0; white-space:normal; overflow-wrap:anywhere; color:#000; font-size:15px;
  line-height:1.45}
.gp-quiz .widget-radio-box input {flex:none; order:-1; margin:0 0 0 3px; height:22px}
.gp-quiz .widget-radio-box label:has(input:checked) {font-weight:bold}
.gp-quiz .gp-chart {max-width:100%; height:auto; display:block}
.gp-quiz button.jupyter-button {background:#fff; color:#000; border:2px solid #000; border-radius:4px; width:auto;
  padding:0 14px; font-weight:bold}
.gp-quiz button.jupyter-button:disabled {border-style:dashed; font-weight:normal}
.gp-quiz .gp-checks button.jupyter-button {height:auto; min-height:32px; margin:0; padding:4px 10px; white-space:normal;
  text-align:left; line-height:1.3; font-size:14px; opacity:1}
.gp-quiz h4 {margin:8px 0 2px; font-size:1em; color:#000}
.gp-quiz button:focus-visible, .gp-quiz input:focus-visible, .gp-quiz select:focus-visible
  {outline:3px solid #0072B2; outline-offset:1px}
.gp-quiz .gp-note {border-left:4px solid #000; padding:2px 10px}
.gp-quiz .gp-stop {border:6px double #000; padding:6px 14px; max-width:78ch}
</style>"""


# What a projector's view changes on the whole page: letters are large and answers wait for Reveal. The switch puts
# these rules on the page and takes them away: rules that look for the switch would be asked again at every move of a
# slider, of every part of the page.
LARGE = """<style>
:root body .gp-answered:not(.gp-revealed)>.widget-html{display:none}
:root body .gp-answered:not(.gp-revealed)>.gp-reveal{display:block!important}
:root body .gp-quiz{max-width:none}
:root body .gp-quiz :is(.widget-html-content,p,td,th,h3,label,input,select,button){font-size:26px!important;
  height:auto!important;line-height:1.4}
:root body .gp-quiz .gp-chart{width:100%}
:root body .jp-RenderedHTMLCommon{font-size:28px!important;line-height:1.45}
:root body :is(.jp-Notebook .jp-Cell,main .jp-Cell){max-width:none!important}
</style>"""


def on_projector(page: Any, rules: Any, on: bool, *more: str) -> None:
    """Make a page fit for a projector, or for the desk again.

    `page` is the widget that is it, `rules` an HTML widget on it that takes LARGE and what `more` style a page needs.
    """
    (page.add_class if on else page.remove_class)("gp-on-projector")
    rules.value = "".join((LARGE, *more)) if on else ""


def paragraph(text: str, tag: str = "p") -> str:
    """Text as a paragraph (or another element)."""
    return f"<{tag}>{escape(text)}</{tag}>"


def listing(texts: Sequence[str]) -> str:
    """Texts as a list without numbers."""
    return "<ul>" + "".join(paragraph(text, "li") for text in texts) + "</ul>"


def note(text: str, role: str = "status") -> str:
    """A short message that a screen reader speaks as it appears; role "alert" if the learner must act."""
    return f'<div class="gp-note" role="{role}">{paragraph(text)}</div>'


def card(title: str, markup: str) -> str:
    """Markup made here in a thick frame under a title: what must not be overlooked."""
    return f'<div class="gp-stop" role="alert">{paragraph(title, "h3")}{markup}</div>'


def table(rows: Sequence[Sequence[str]], caption: str) -> str:
    """Rows of words as a table, the first row its heading, the first cell of each row that row's name."""
    heading, *body = rows
    head = "".join(f'<th scope="col">{escape(cell)}</th>' for cell in heading)
    lines = "".join(
        f'<tr><th scope="row">{escape(first)}</th>' + "".join(f"<td>{escape(cell)}</td>" for cell in rest) + "</tr>"
        for first, *rest in body
    )
    return f'<table aria-label="{escape(caption)}"><thead><tr>{head}</tr></thead><tbody>{lines}</tbody></table>'
