"""The lesson: a teacher's week, or a set list, out of one small file.

::

    week.toml ─lesson_file→ Lesson ─week→ tasks with nothing left open
    tune ─trouble→ the bars that are hard to connect, and loops over them
    the tasks of a student ─first_page→ what to do, in what order; ─manifest→ what was made, and how
    practice logs ─practiced→ at which tempo it got steady

What a task asks for stands in the words of the command line, which ``cli`` reads; here they are
kept as they are said, with their place in the file.
"""
