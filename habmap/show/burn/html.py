"""The burn sheet as one HTML file that fetches nothing, runs no script, and prints the same content as the PDF."""

from __future__ import annotations

import base64
import hashlib

from habmap.show import words
from habmap.show.burn.pages import MARGIN_PT, SvgDrawn, draw_burn_svg, draw_chart_svg
from habmap.show.burn.sheet import CHART_TITLE, NOT_FOR_ALL, NOT_PERMISSION, WRITING_BOXES, BurnPaper, BurnSheet
from habmap.show.sheet.paper import SIZES_PT
from habmap.show.templating import ENVIRONMENT, template_text


class _Picture:
    """A picture as a page shows it: SVG as a data URI, its size in CSS pixels (96 to the inch, where points are 72)."""

    def __init__(self, drawn: SvgDrawn) -> None:
        self.uri = "data:image/svg+xml;base64," + base64.b64encode(drawn.svg.encode()).decode()
        self.width_px = round(drawn.width_pt / 0.75, 2)
        self.height_px = round(drawn.height_pt / 0.75, 2)


def render_burn_html(sheet: BurnSheet, *, paper: BurnPaper) -> str:
    """Return the page; every word of a person is escaped, and the policy in its head allows nothing but its own style.

    Notes
    -----
    The map is a picture (SVG as a data URI), true to scale when printed at 100%: within a picture no script can run.
    """
    drawn = draw_burn_svg(sheet, paper=paper)
    # A point less than the paper has: the first page must not spill a blank one.
    page_pt = SIZES_PT[paper][1] - 2 * MARGIN_PT - 1
    css = (
        f"@page{{size:{'letter' if paper == 'letter' else 'A4'} portrait;margin:{MARGIN_PT:g}pt}}\n"
        f":root{{--page:{page_pt:.1f}pt}}\n{template_text('burn_sheet.css')}"
    )
    digest = base64.b64encode(hashlib.sha256(css.encode()).digest()).decode()
    return ENVIRONMENT.get_template("burn_sheet.html.j2").render(
        sheet=sheet,
        css=css,
        policy=f"default-src 'none'; img-src data:; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'",
        picture=_Picture(drawn),
        chart=None if sheet.chart is None else _Picture(draw_chart_svg(sheet.chart, paper=paper)),
        chart_title=CHART_TITLE,
        scale=f"{drawn.scale:,}",
        not_permission=NOT_PERMISSION,
        not_for_all=NOT_FOR_ALL,
        writing_boxes=WRITING_BOXES,
        drawn_on=words.day_words(sheet.drawn_on),
    )
