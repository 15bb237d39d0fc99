"""Fuzzing: readers, numbers, command lines, the cache, the compiled loops, and processes killed.

``python -m tests.fuzz --hours 1`` runs every target in turn and prints counts; ``--minutes 1
--seed 1`` is what CI runs. What fails is written to the folder ``fuzz-found``; from there it goes
into ``corpus/TARGET``, which ``test_corpus.py`` reads in every run of the tests.
"""
