"""Every way of writing a chord, against the pitch classes a player expects.

The sets are textbook arithmetic (common practice, no source); the references that can be looked
up are in test_harmony_references.py.
"""

from __future__ import annotations

import pytest

from backing.chart.harmony import parse_chord

# Semitones above C, and the spellings that say them; "|" stands between spellings.
SPELLINGS = """
0 4 7           : C | CM | Cma | CMA | Cmaj | CMaj | CMAJ | Cmajor
0 4 7 9         : C6 | CM6 | Cmaj6 | C(6) | Cadd6 | C(add13) | C/6
0 2 4 7 9       : C69 | C6/9 | C6-9 | C6,9 | C6(9) | C6add9 | Cmaj6/9 | CM69 | C6(add9) | C⁶⁄⁹
0 2 4 7         : Cadd9 | Cadd2 | C(add9) | C2 | C(9) | C(add 9) | C/9
0 4 5 7         : Cadd4 | C(add 4) | C(add4) | Cadd11 | C(add11)
0 4 7 11        : Cmaj7 | CMaj7 | CMAJ7 | Cma7 | CMa7 | CMA7 | CM7 | Cj7 | CΔ | C△ | C∆ | CΔ7 | C△7
0 4 7 11        : C^7 | C^ | C7M | C7maj | C(maj7) | Cmaj-7 | C maj7 | CM⁷ | C(#7)
0 2 4 7 11      : Cmaj9 | CM9 | CΔ9 | Cma9 | Cmaj7(9) | Cmaj7/9 | Cmaj7add9 | C9M | CMA9
0 2 4 5 7 11    : Cmaj11 | CM11
0 2 4 7 9 11    : Cmaj13 | CM13 | CΔ13 | Cma13 | Cmaj9(13)
0 4 7 9 11      : Cmaj7(13) | C6(maj7) | Cmaj7/6 | Cmaj7add13
0 4 6 7 11      : Cmaj7#11 | Cmaj7(#11) | CM7♯11 | CΔ#11 | Cmaj7+11 | Cmaj7#4
0 2 4 6 7 11    : Cmaj9#11 | Cmaj9(#11) | CΔ9#11
0 2 4 6 7 9 11  : Cmaj13#11 | Cmaj13(#11)
0 4 8 11        : Cmaj7#5 | Cmaj7+5 | CM7(#5) | C+M7 | C+Δ | Caugmaj7 | Cmaj7+ | CaugM7 | C+maj7
0 4 6 11        : Cmaj7b5 | CΔ♭5 | CM7-5 | Cmaj7(b5)
0 3 7           : Cm | Cmi | Cmin | CMI | CMin | C- | C− | C– | Cminor
0 3 7 9         : Cm6 | Cmi6 | Cmin6 | C-6 | CMI6
0 2 3 7 9       : Cm69 | Cm6/9 | C-6/9 | C-69 | Cmi6(9) | Cm6add9
0 3 7 8         : Cmb6 | Cm(b6) | C-b6 | Cm♭6 | Cm(b13) | Cm(addb6)
0 3 8           : Cm#5 | Cm(#5) | Cm+5 | Cm+
0 2 3 7         : Cmadd9 | Cm(add9) | Cmadd2 | Cmi(add9) | Cm(9) | Cm2 | C-add9 | Cminadd9
0 3 5 7         : Cmadd4 | Cm(add11) | Cm4
0 3 7 10        : Cm7 | Cmi7 | Cmin7 | CMI7 | CMin7 | C-7 | C−7 | Cmin-7 | Cm⁷ | C m7 | C- 7
0 2 3 7 10      : Cm9 | Cmi9 | C-9 | Cmin9 | Cm7(9) | Cm7add9 | C-7/9
0 2 3 5 7 10    : Cm11 | C-11 | Cmi11 | Cmin9(11) | Cm9add11
0 3 5 7 10      : Cm7(11) | Cm7add11 | Cmin7/11 | Cm7add4
0 2 3 5 7 9 10  : Cm13 | C-13 | Cmi13
0 1 3 7 10      : Cm7b9 | Cm7(b9) | C-7b9
0 3 8 10        : Cm7#5 | C-7(#5) | Cm7+5
0 3 7 11        : CmM7 | CmMaj7 | Cm(maj7) | Cm(M7) | C-Δ | C-Δ7 | Cmin-maj7 | C-maj7 | CmΔ
0 3 7 11        : Cm/maj7 | Cm(Δ) | Cmi(MA7) | Cmima7 | Cm#7 | Cm(#7) | Cm+7 | Cmj7 | Cm7M | Cmmaj7
0 2 3 7 11      : CmM9 | Cm(maj9) | CmMaj9 | Cm9(maj7) | C-Δ9
0 3 7 9 11      : Cm6(maj7) | Cm6/maj7 | Cm69(maj7,no9)
0 4 7 10        : C7 | Cdom7 | C⁷ | C(7)
0 2 4 7 10      : C9 | C7(9) | Cdom9 | C7/9 | C7add9
0 2 5 7 10      : C11 | C9sus | C9sus4 | C9(sus4) | Csus9 | C7sus4(9) | C9sus(4)
0 2 4 7 9 10    : C13 | C9(13) | C7(9,13) | C9/13
0 4 7 9 10      : C7(13) | C7/6 | C7add13 | C7add6 | C7(add 13) | C7/13
0 4 5 7 10      : C7(11) | C7add4 | C7add11
0 1 4 7 10      : C7b9 | C7♭9 | C7-9 | C7(b9) | C7(-9) | C7 b9 | C7/b9 | C(b9) | C7[b9] | C7addb9
0 3 4 7 10      : C7#9 | C7♯9 | C7+9 | C7(#9) | C7(+9) | C7b10 | C(#9)
0 4 6 7 10      : C7#11 | C7♯11 | C7+11 | C7(#11) | C7#4
0 4 7 8 10      : C7b13 | C7(b13) | C7♭13 | C7-13 | C(b13)
0 1 3 4 7 10    : C7b9#9 | C7(b9,#9) | C7(b9#9)
0 1 4 6 7 10    : C7b9#11 | C7(b9,#11) | C7(b9, #11) | C7(b9/#11) | C7(b9)(#11) | C7(♭9♯11)
0 1 4 7 8 10    : C7b9b13 | C7(b9,b13) | C7(b9 b13) | C7b9(b13) | C7-9-13
0 3 4 7 8 10    : C7#9b13 | C7(#9,b13)
0 1 4 7 9 10    : C13b9 | C13(b9) | C7b9(13) | C7(b9,13) | C7b913 | C13-9 | C7b9/13
0 3 4 7 9 10    : C13#9 | C13(#9) | C7(#9,13)
0 2 4 6 7 10    : C9#11 | C9(#11) | C9+11
0 2 4 6 7 9 10  : C13#11 | C13(#11) | C13♯11 | C13+11
0 2 4 7 8 10    : C9b13 | C9(b13)
0 4 6 10        : C7b5 | C7-5 | C7(b5) | C7♭5 | C7(-5)
0 4 8 10        : C7#5 | C7+5 | C7(#5) | C+7 | C7+ | Caug7 | C7aug | C7♯5 | C7(+5) | C7(+)
0 2 4 8 10      : C9#5 | C+9 | C9+ | Caug9 | C9(#5) | C9+5
0 2 4 6 10      : C9b5 | C9(b5) | C9-5
0 1 4 8 10      : C7#5b9 | C7b9#5 | C+7b9 | C7+(b9) | C7(b9,#5) | C+7(b9) | Caug7b9
0 3 4 8 10      : C7#5#9 | C7#9#5 | C+7#9 | C7(#5,#9) | C7+9+5 | C7+5+9
0 1 4 6 10      : C7b5b9 | C7b9b5 | C7(b5,b9)
0 3 4 6 10      : C7b5#9 | C7(b5#9) | C7#9b5
0 1 3 4 6 8 10  : C7alt | Calt | C7(alt) | Calt7 | C7 alt | Caltered | C7ALT
0 4 8           : C+ | Caug | C(#5) | C+5 | C(+5) | C(+) | C⁺ | CAUG
0 4 6           : C(b5) | C-5 | C(-5) | CM(b5) | CMb5
0 4 6 7         : C(#11) | Cadd#11 | C+11 | C(add#4)
0 1 4 7         : C(addb9) | Caddb9
0 3 6           : Cdim | C° | Cº | Co | Cm(b5) | Cmb5 | Cm-5 | Cmi(b5) | CDIM
0 3 6 9         : Cdim7 | C°7 | Cº7 | Co7 | C˚7
0 3 6 11        : C°M7 | Cdim(maj7) | C°(maj7) | CoΔ7 | Cdim7(maj7)
0 2 3 6 9       : C°9 | Cdim9 | Cdim7(9)
0 3 6 10        : Cm7b5 | Cm7(b5) | C-7b5 | C-7(b5) | Cmi7(b5) | Cmin7♭5 | Cø | Cø7 | CØ | Cm7-5
0 3 6 10        : C-7-5 | Chalf-dim | Chalfdim | C half-dim7 | C−7♭5 | Cmi7b5 | C⌀7
0 2 3 6 10      : Cm9b5 | Cø9 | C-9b5 | Cm9(b5) | Cø(9) | Cm7b5(9) | Cø7(♮9)
0 3 5 6 10      : Cm7b5(11) | Cø7(11)
0 2 3 5 6 10    : Cm11b5 | Cø11
0 3 6 8 10      : Cm7b5(b13) | Cø7b13
0 5 7           : Csus | Csus4 | C4 | C(sus4) | C(sus) | Csus(4) | CSUS4
0 2 7           : Csus2 | C(sus2) | C5add9 | Cadd9no3
0 2 5 7         : Csus24 | Csus2sus4 | Csus4sus2 | Csus4(9)
0 5 7 10        : C7sus | C7sus4 | Csus7 | C7(sus4) | C7 sus4 | Csus4/7 | Cm7sus4 | C7(sus)
0 2 7 10        : C7sus2 | C9no3
0 2 5 7 9 10    : C13sus | C13sus4 | C13(sus4) | Csus13 | C9sus4(13)
0 5 7 9 10      : C7sus4(13) | C7sus(13)
0 1 5 7 10      : C7b9sus | C7b9sus4 | C7sus(b9) | C7susb9 | C7sus4b9 | Csus(b9) | Csusb9 | C11b9
0 1 5 7 10      : Cphryg | Cphrygian
0 1 5 7 9 10    : C13susb9 | C13b9sus | C13sus4(b9)
0 5 7 11        : Cmaj7sus4 | CM7sus | Cmaj7sus
0 7             : C5 | C(no3) | Cno3 | Comit3 | C(omit3) | C(no 3rd)
0 7 10          : C7no3 | C7(omit3) | C7omit 3
0 4 10          : C7no5 | C7(no5) | C7(omit5) | C7 no 5th
0 4 11          : Cmaj7(no5)
0 4 7 9 10      : C13no9 | C13(no9) | C13(omit 9th)
0 3 7 10 11     : Cm7(addmaj7)
"""

# Roots, accidentals and basses; pitch classes with C as 0, the root first, and the bass.
ROOTS_AND_BASSES = {
    "Bb9": ((10, 2, 5, 8, 0), 10),
    "B♭9": ((10, 2, 5, 8, 0), 10),
    "Bbb5": ((10, 2, 4), 10),
    "Bbb9": ((10, 2, 5, 8, 11), 10),
    "Ebb7": ((2, 6, 9, 0), 2),
    "Ebb": ((2, 6, 9), 2),
    "E𝄫7": ((2, 6, 9, 0), 2),
    "B♮7": ((11, 3, 6, 9), 11),
    "Fx": ((7, 11, 2), 7),
    "F##11": ((6, 10, 1, 0), 6),
    "F#m7": ((6, 9, 1, 4), 6),
    "F♯m7": ((6, 9, 1, 4), 6),
    "Cb": ((11, 3, 6), 11),
    "E#°7": ((5, 8, 11, 2), 5),
    "BMI7": ((11, 2, 6, 9), 11),
    "Ab-7": ((8, 11, 3, 6), 8),
    "Bdim": ((11, 2, 5), 11),
    "Bbalt": ((10, 2, 4, 6, 8, 11, 1), 10),
    "Asus": ((9, 2, 4), 9),
    "Absus": ((8, 1, 3), 8),
    "Do7": ((2, 5, 8, 11), 2),
    "C/E": ((0, 4, 7), 4),
    "C / E": ((0, 4, 7), 4),
    "C/Bb": ((0, 4, 7), 10),
    "C/B♭": ((0, 4, 7), 10),
    "C6/9/E": ((0, 4, 7, 9, 2), 4),
    "C7/b9/E": ((0, 4, 7, 10, 1), 4),
    "Am7(b5)/G": ((9, 0, 3, 7), 7),
    "Cm/maj7/G": ((0, 3, 7, 11), 7),
    "D-7/G": ((2, 5, 9, 0), 7),
    "C/A": ((0, 4, 7), 9),
    "F#m7b5/E": ((6, 9, 0, 4), 4),
}


def _cases() -> list[tuple[str, tuple[int, ...]]]:
    cases = []
    for line in SPELLINGS.strip().splitlines():
        expected, spellings = line.split(" : ")
        pitches = tuple(int(word) for word in expected.split())
        cases += [(spelling.strip(), pitches) for spelling in spellings.split(" | ")]
    return cases


def test_no_spelling_is_listed_twice() -> None:
    spellings = [spelling for spelling, _ in _cases()]
    assert len(spellings) == len(set(spellings))
    assert len(spellings) + len(ROOTS_AND_BASSES) >= 400


@pytest.mark.parametrize(("spelling", "expected"), _cases())
def test_spelling(spelling: str, expected: tuple[int, ...]) -> None:
    chord = parse_chord(spelling)
    assert tuple(sorted(chord.pitch_classes)) == expected
    assert chord.text == spelling
    assert chord.pitch_classes[0] == chord.bass_pitch_class == 0


@pytest.mark.parametrize(("spelling", "expected"), ROOTS_AND_BASSES.items())
def test_root_and_bass(spelling: str, expected: tuple[tuple[int, ...], int]) -> None:
    chord = parse_chord(spelling)
    pitches, bass = expected
    assert chord.pitch_classes[0] == pitches[0]
    assert set(chord.pitch_classes) == set(pitches)
    assert chord.bass_pitch_class == bass
