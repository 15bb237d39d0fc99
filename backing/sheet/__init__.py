"""Sheets to play from: the chart of a tune, shapes on the neck, lines in staff and tablature.

A sheet is data (``sheets``) typeset by Typst (``typesetting``, ``page.typ``). Staves are cut into
note values (``notation``), written as MusicXML (``staff``) and engraved by Verovio
(``engraving``); fingering grids are drawn in ``diagram``, the covers of tracks in ``cover``.
"""

from backing.sheet.cover import cover
from backing.sheet.line_block import line_file
from backing.sheet.page_setup import make_page_setup
from backing.sheet.request import SheetRequest
from backing.sheet.sheet_part import make_sheet_part
from backing.sheet.sheets import Sheet, arpeggio_sheet, tune_sheet

__all__ = [
    "Sheet",
    "SheetRequest",
    "arpeggio_sheet",
    "cover",
    "line_file",
    "make_page_setup",
    "make_sheet_part",
    "tune_sheet",
]
