"""Sheets to play from: the chart of a tune, shapes on the neck, lines in staff and tablature.

A sheet is data (``sheets``), set by Typst (``typesetting``, ``page.typ``); staves are notated
(``notation``), said in MusicXML (``staff``) and engraved by Verovio (``engraving``); grids are
drawn here (``diagram``).
"""

from backing.sheet.asked import Asked
from backing.sheet.line_sheet import line_file
from backing.sheet.look import make_look, make_reader
from backing.sheet.sheets import Sheet, set_sheet, tune_sheet

__all__ = ["Asked", "Sheet", "line_file", "make_look", "make_reader", "set_sheet", "tune_sheet"]
