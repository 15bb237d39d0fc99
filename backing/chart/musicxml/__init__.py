"""MusicXML, the open format of notation programs: a form as a lead sheet, and back.

``write(form)`` gives the text of a file, ``read(text)`` and ``read_file(path)`` a form.
"""

from backing.chart.musicxml.reading import read, read_file
from backing.chart.musicxml.writing import write

__all__ = ["read", "read_file", "write"]
