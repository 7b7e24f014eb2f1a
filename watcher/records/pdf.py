"""Records printed: a PDF; the caution, the page's number and the chain's head on every page.

Needs the extra ``pdf``: fpdf2 for the pages, and matplotlib for the DejaVu fonts it ships, which
have the letters of European and American names.
"""

import importlib.util
from collections.abc import Iterable, Sequence
from datetime import datetime
from pathlib import Path
from typing import Literal

from fpdf import FPDF, FontFace
from fpdf.enums import TableBordersLayout, XPos, YPos

from watcher.i18n.language import ENGLISH, Language
from watcher.i18n.message import say
from watcher.messages.words import CAUTION
from watcher.records.layout import Page, Table

PaperSize = Literal["letter", "a4"]
_MARGIN_MM, _FOOT_MM = 12.0, 20.0
_TITLE_PT, _HEAD_PT, _BODY_PT, _SMALL_PT = 15.0, 9.5, 7.5, 6.5
_MM_A_POINT = 25.4 / 72
_LINE = 1.35
_GREY, _PALE = (90, 90, 90), (238, 238, 238)
_FONT = "DejaVu"


def write_pdf(
    pages: Iterable[Page], paper: PaperSize, printed_at: datetime, language: Language = ENGLISH
) -> bytes:
    """Return records as a PDF, each beginning on a page of its own."""
    sheet = _Sheet(paper, printed_at, language)
    for page in pages:
        sheet.begin(page)
        for table in page.tables:
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

    def begin(self, page: Page) -> None:
        """Begin a record on a new sheet."""
        self._foot = (page.title, page.seal)
        self.add_page()
        self._say(page.title, _TITLE_PT, bold=True)
        for line in page.lines:
            self._say(line, _HEAD_PT)

    def put(self, table: Table) -> None:
        """Print a table under its title; neither is left alone at the foot of a sheet."""
        if self.will_page_break(8 * _BODY_PT * _MM_A_POINT * _LINE):
            self.add_page()
        self.ln(2.5)
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

    def _rows(self, table: Table) -> None:
        with_head = any(table.head)
        rows = (table.head, *table.rows) if with_head else _side_by_side(table.rows)
        self.set_font(_FONT, "", _BODY_PT)
        self.set_draw_color(200)
        with self.table(
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
