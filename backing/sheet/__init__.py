"""Sheets to play from: the chart of a tune, shapes on the neck, lines in staff and tablature.

A sheet is data (``sheets``) typeset by Typst (``typesetting``, ``page.typ``). Staves are cut into
note values (``notation``), written as MusicXML (``staff``) and engraved by Verovio
(``engraving``); fingering grids are drawn in ``diagram``, the covers of tracks in ``cover``.
"""
