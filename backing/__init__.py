"""A band that plays the changes: one short text file becomes practice tracks.

The pipeline, which is also the file tree::

    tune file ─chart→ Form ─routine→ Passes ─combo→ Performance ─midi→ SMF bytes
                                                         └──mixdown→ audio, stems
"""

__version__ = "0.1.0"
