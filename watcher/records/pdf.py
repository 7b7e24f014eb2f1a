"""Records printed: a PDF; the caution, the page's number and the chain's head on every page.

Needs the extra ``pdf``: fpdf2 for the pages, and matplotlib for the DejaVu fonts it ships, which
have the letters of European and American names.
"""

import importlib.util
import math
from collections.abc import Iterable, Sequence
from datetime import datetime
from pathlib import Path
from typing import Literal

import shapely
from fpdf import FPDF, FontFace
from fpdf.enums import TableBordersLayout, XPos, YPos

from watcher.i18n.language import ENGLISH, Language
from watcher.i18n.message import say
from watcher.messages.words import CAUTION
from watcher.records.form import split
from watcher.records.layout import PageMap, PageTable, RecordPage, Ring

PaperSize = Literal["letter", "a4"]
_MARGIN_MM, _FOOT_MM = 12.0, 20.0
_TITLE_PT, _HEAD_PT, _BODY_PT, _SMALL_PT = 15.0, 9.5, 7.5, 6.5
_MM_A_POINT = 25.4 / 72
_LINE = 1.35
_MAP_MM, _FILLED, _HATCH_MM = 62.0, 0.66, 1.4
_FORM_HEAD = ("", "", "")
_MOST_BESIDE = 5
"""A table of more columns is printed under the map, over the whole width."""
_GREY, _PALE = (90, 90, 90), (238, 238, 238)
_FONT = "DejaVu"


def write_pdf(
    pages: Iterable[RecordPage],
    paper: PaperSize,
    printed_at: datetime,
    language: Language = ENGLISH,
) -> bytes:
    """Return records as a PDF, each beginning on a page of its own."""
    sheet = _Sheet(paper, printed_at, language)
    for page in pages:
        sheet.begin(page)
        if page.products is not None:
            sheet.put(_of_job(page))
            sheet.put(page.products)
        for table in page.tables:
            if not table.behind and table.head != _FORM_HEAD:
                sheet.put(table)
        sheet.to_sign(page.signature)
        for table in page.tables:
            if table.behind:
                sheet.put(table)
    return bytes(sheet.output())


class _Sheet(FPDF):
    """Sheets of paper with our margins, fonts and foot."""

    def __init__(self, paper: PaperSize, printed_at: datetime, language: Language) -> None:
        super().__init__(orientation="landscape", format=paper)
        self.set_creation_date(printed_at)
        self._language = language
        self.set_title(say("Application records").render(language))
        self.set_margin(_MARGIN_MM)
        self.set_auto_page_break(auto=True, margin=_FOOT_MM)
        for style, file in (("", "DejaVuSans.ttf"), ("B", "DejaVuSans-Bold.ttf")):
            self.add_font(_FONT, style, _fonts() / file)
        self._printed = f"{printed_at:%Y-%m-%d %H:%M %Z}"
        self._foot: tuple[str, str] = ("", "")
        self._beside: tuple[int, float] = (0, 0.0)
        """Down to where on which sheet a map stands at the right."""

    def begin(self, page: RecordPage) -> None:
        """Begin a record on a new sheet."""
        self._foot = (page.title, page.seal)
        self.add_page()
        self._say(page.title, _TITLE_PT, bold=True)
        self._draw(page.map)
        for line in page.lines:
            self._say(line, _HEAD_PT)

    def _draw(self, shown: PageMap) -> None:
        """Draw the map at the right edge, and keep what follows to its left."""
        left, top = self.w - _MARGIN_MM - _MAP_MM, _MARGIN_MM
        corners = [corner for ring in (*shown.field, *shown.to_leave) for corner in ring]
        half = max((max(abs(x), abs(y)) for x, y in corners), default=1.0) or 1.0
        scale = _MAP_MM / 2 / half * _FILLED
        if shown.half_m is not None:
            scale = _MAP_MM / 2 / shown.half_m
        middle = left + _MAP_MM / 2, top + _MAP_MM / 2

        def on_paper(ring: Ring) -> list[tuple[float, float]]:
            return [(middle[0] + x * scale, middle[1] - y * scale) for x, y in ring]

        self.set_draw_color(*_GREY)
        self.set_line_width(0.2)
        self.rect(left, top, _MAP_MM, _MAP_MM)
        for name, rings in shown.beside:
            for ring in rings:
                self.polygon(on_paper(ring), style="D")
            self._name(name, on_paper(rings[0]))
        self.set_dash_pattern(dash=1.2, gap=0.8)
        for name, ring in shown.cones:
            self.polygon(on_paper(ring), style="D")
            self._name(name, on_paper(ring))
        self.set_dash_pattern()
        for ring in shown.to_leave:
            outline = shapely.Polygon(on_paper(ring))
            self._hatch(outline)
            self.polygon(on_paper(ring), style="D")
        self.set_draw_color(0)
        self.set_line_width(0.7)
        for ring in shown.field:
            self.polygon(on_paper(ring), style="D")
        self._arrow((left + 5, top + 6), 0.0, "N", 5.5)
        for number, (word, from_deg) in enumerate(shown.winds):
            place = left + _MAP_MM - 9 - 16 * number, top + _MAP_MM - 6.5
            self._arrow(place, from_deg + 180.0, word, 5.5)
        self.set_line_width(0.2)
        self.set_right_margin(_MARGIN_MM + _MAP_MM + 4)
        self.set_xy(left, top + _MAP_MM + 1)
        self.set_font(_FONT, "", _SMALL_PT)
        for line in shown.lines:
            self.set_x(left)
            height = _SMALL_PT * _MM_A_POINT * _LINE
            self.multi_cell(_MAP_MM, height, line, align="L", new_x=XPos.LEFT, new_y=YPos.NEXT)
        self._beside = self.page_no(), self.get_y()
        self.set_xy(self.l_margin, _MARGIN_MM + _TITLE_PT * _MM_A_POINT * _LINE)

    def _name(self, name: str, outline: list[tuple[float, float]]) -> None:
        """Write a name into a shape on the map, about its middle."""
        middle = shapely.Polygon(outline).centroid
        self.set_font(_FONT, "", _SMALL_PT - 1)
        self.set_xy(middle.x - 15, middle.y - 1.5)
        self.cell(30, 3, name, align="C")

    def _hatch(self, outline: shapely.Polygon) -> None:
        """Rule a shape across with slanting lines: it differs from ground without colour."""
        west, north, east, south = outline.buffer(0).bounds
        tall = south - north
        for step in range(int((east - west + tall) / _HATCH_MM) + 1):
            x = west - tall + step * _HATCH_MM
            ruled = outline.buffer(0).intersection(
                shapely.LineString([(x, south), (x + tall, north)])
            )
            for part in shapely.get_parts(ruled):
                if isinstance(part, shapely.LineString):
                    (x1, y1), *_, (x2, y2) = part.coords
                    self.line(x1, y1, x2, y2)

    def _arrow(self, at: tuple[float, float], to_deg: float, word: str, length: float) -> None:
        """Draw an arrow that points to a bearing, about its middle, with its word under it."""
        turn = math.radians(to_deg)
        east, south = math.sin(turn) * length / 2, -math.cos(turn) * length / 2
        tip, tail = (at[0] + east, at[1] + south), (at[0] - east, at[1] - south)
        self.set_line_width(0.5)
        self.line(*tail, *tip)
        for side in (-150, 150):
            wing = turn + math.radians(side)
            self.line(*tip, tip[0] + math.sin(wing) * 2.5, tip[1] - math.cos(wing) * 2.5)
        self.set_font(_FONT, "B", _SMALL_PT)
        self.set_xy(at[0] - 8, at[1] + length / 2 + 0.2)
        self.cell(16, 3, word, align="C")

    def to_sign(self, lines: Sequence[str]) -> None:
        """Print a line to sign on, with its words; not parted from them by the end of a sheet."""
        self._widen()
        if self.will_page_break(16):
            self.add_page()
        self.ln(9)
        width = self.epw / (len(lines) + 1)
        for number, line in enumerate(lines):
            wide = width * (2 if number == 0 else 1) - 6
            x, y = self.get_x(), self.get_y()
            self.set_draw_color(0)
            self.line(x, y, x + wide, y)
            self.set_font(_FONT, "", _BODY_PT)
            self.set_xy(x, y + 0.6)
            self.multi_cell(wide, _BODY_PT * _MM_A_POINT * _LINE, line, align="L")
            self.set_xy(x + wide + 6, y)
        self.ln(6)

    def _widen(self) -> None:
        """Use the whole width again once the map is passed."""
        page, bottom = self._beside
        if self.page_no() != page or self.get_y() >= bottom:
            self.set_right_margin(_MARGIN_MM)

    def put(self, table: PageTable) -> None:
        """Print a table under its title; neither is left alone at the foot of a sheet."""
        self._widen()
        if table.head and len(table.head) > _MOST_BESIDE and self.r_margin > _MARGIN_MM:
            self.set_y(max(self.get_y(), self._beside[1]))
            self._widen()
        if self.will_page_break(8 * _BODY_PT * _MM_A_POINT * _LINE):
            self.add_page()
        self.ln(2.5)
        if table.title:
            self._say(table.title, _HEAD_PT, bold=True)
        if table.rows:
            self._rows(table)
        if table.note:
            self.ln(0.8)
            self.set_text_color(*_GREY)
            self._say(table.note, _SMALL_PT)
            self.set_text_color(0)

    def footer(self) -> None:
        """Print the caution and what binds the page to the chain at the foot of each sheet."""
        beside, self.r_margin = self.r_margin, _MARGIN_MM
        self.set_y(-_FOOT_MM + 4)
        self.set_draw_color(*_GREY)
        self.line(self.l_margin, self.get_y() - 1, self.w - self.r_margin, self.get_y() - 1)
        self._say(CAUTION.render(self._language), _SMALL_PT, bold=True)
        title, seal = self._foot
        self._say(seal, _SMALL_PT)
        foot = say(
            "{title}. Page {page} of {pages}. Printed {time}.",
            title=title,
            page=self.page_no(),
            pages="{nb}",
            time=self._printed,
        )
        self._say(foot.render(self._language), _SMALL_PT)
        self.r_margin = beside

    def _rows(self, table: PageTable) -> None:
        with_head = any(table.head)
        rows = (table.head, *table.rows) if with_head else _side_by_side(table.rows)
        self.set_font(_FONT, "", _BODY_PT)
        self.set_draw_color(200)
        with self.table(
            align="LEFT",
            width=self.epw,
            col_widths=table.widths * (len(rows[0]) // len(table.widths)),
            text_align="LEFT",
            line_height=_BODY_PT * _MM_A_POINT * _LINE,
            padding=(0.5, 1.2),
            borders_layout=TableBordersLayout.HORIZONTAL_LINES,
            headings_style=FontFace(emphasis="BOLD", fill_color=_PALE),
            first_row_as_headings=with_head,
        ) as printed:
            for cells in rows:
                row = printed.row()
                for cell in cells:
                    row.cell(cell)

    def _say(self, text: str, size_pt: float, *, bold: bool = False) -> None:
        self.set_font(_FONT, "B" if bold else "", size_pt)
        height = size_pt * _MM_A_POINT * _LINE
        self.multi_cell(0, height, text, align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT)


def _of_job(page: RecordPage) -> PageTable:
    """The values of the form in one table, save those of products, which have one of their own."""
    rows = tuple(
        (word, f"{value} ({origin})")
        for table in page.tables
        if table.head == _FORM_HEAD
        for (word, value, origin), key in zip(table.rows, table.keys, strict=True)
        if split(key)[0].repeats != "by product"
    )
    return PageTable("", ("", ""), rows, (18, 32))


def _side_by_side(rows: Sequence[tuple[str, ...]]) -> tuple[tuple[str, ...], ...]:
    """Lay a long list of short rows in two columns, read down."""
    half = (len(rows) + 1) // 2
    blank = ("",) * len(rows[0])
    right = (*rows[half:], *[blank] * (2 * half - len(rows)))
    return tuple((*left, *beside) for left, beside in zip(rows[:half], right, strict=True))


def _fonts() -> Path:
    """Where matplotlib keeps its fonts; found without loading it, which takes a second."""
    found = importlib.util.find_spec("matplotlib")
    if found is None or found.origin is None:
        raise ModuleNotFoundError("matplotlib, which ships the fonts", name="matplotlib")
    return Path(found.origin).parent / "mpl-data" / "fonts" / "ttf"
