"""The chord table: how each chord type is tuned, one row a chord type and prime limit.

A row holds for its own prime limit and every larger one, until a row of a larger limit follows for the same
chord type; chord types and limits without a row follow the rule of `retune.ratios.choose`. Integers are in
the order the chord is usually spelled, root first; ninths, elevenths and thirteenths an octave up. A chord
has one set of ratios for all its inversions and voicings.

What decides a row that no source fixes: every third, fourth, fifth and sixth between chord tones is pure
where that is possible at once; where it is not, as many of them as possible. The diminished seventh alone takes
the notes of its key instead: nobody sings the 125/108 that three pure minor thirds leave over, and with the tonic's
own tones it joins what comes before and after. The augmented sixths take the notes of their key as well: what sounds
like a minor seventh is a sixth that leads on to the octave of the dominant, and above a German fifth no third but a
second.
"""

from __future__ import annotations

from dataclasses import dataclass

HELMHOLTZ = "Helmholtz/Ellis"
BARBOUR = "Barbour"
HAND_OUT = "hand-out"
BARBERSHOP = "barbershop practice"
NO_SOURCE = "common practice, no source"
AUGMENTED = "sixth 45/32 of the tonic (8/5 under it): the leading note 15/8 of the dominant"
SOURCES = {
    HELMHOLTZ: "H. Helmholtz, tr. A. J. Ellis, *On the Sensations of Tone*, 2nd English ed. 1885, App. XX",
    BARBOUR: "J. M. Barbour, *Tuning and Temperament*, 1951",
    HAND_OUT: "“Chords of Just Intonation”, one page of whole cents above the root, handed out in orchestras "
    "and bands (Juneau Symphony; Round Top Festival)",
    BARBERSHOP: "4:5:6:7 is the standard seventh of barbershop singing",
}
"""What the short names of sources in the rows stand for."""


@dataclass(frozen=True, slots=True)
class ChordRow:
    """How one chord type is tuned from one prime limit upwards."""

    symbol: str  # of retune.harmony.vocabulary
    prime_limit: int  # the smallest limit at which the row holds
    integers: str  # "4:5:6", root first
    source: str  # where the choice comes from, or why it is made


CHORD_ROWS: tuple[ChordRow, ...] = (
    ChordRow("maj", 3, "64:81:96", f"{BARBOUR}: Pythagorean third"),
    ChordRow("maj", 5, "4:5:6", f"{HELMHOLTZ}; {HAND_OUT}: −14 +2"),
    ChordRow("min", 3, "54:64:81", f"{BARBOUR}: Pythagorean third"),
    ChordRow("min", 5, "10:12:15", f"{HELMHOLTZ}; {HAND_OUT}: +16 +2"),
    ChordRow("dim", 5, "25:30:36", f"two pure minor thirds; {NO_SOURCE}"),
    ChordRow("dim", 7, "5:6:7", f"{HAND_OUT}: +16 −17; top of 4:5:6:7"),
    ChordRow("aug", 5, "16:20:25", f"two pure major thirds; {NO_SOURCE}"),
    ChordRow("sus4", 3, "6:8:9", f"pure fourth and fifth; {NO_SOURCE}"),
    ChordRow("sus2", 3, "8:9:12", f"pure fifth and fourth; {NO_SOURCE}"),
    ChordRow("5", 3, "2:3", HELMHOLTZ),
    ChordRow("1", 3, "1", "nothing to tune"),
    ChordRow("7", 5, "20:25:30:36", f"two pure minor thirds over the major third; {NO_SOURCE}"),
    ChordRow("7", 7, "4:5:6:7", f"{BARBERSHOP}; {HAND_OUT}: −14 +2 −31"),
    ChordRow("maj7", 5, "8:10:12:15", f"{HAND_OUT}: −14 +2 −12"),
    ChordRow("min7", 5, "10:12:15:18", f"{HAND_OUT}: +16 +2 +18"),
    ChordRow("min7b5", 5, "25:30:36:45", f"25:30:36 with a pure major third on top; {NO_SOURCE}"),
    ChordRow("min7b5", 7, "5:6:7:9", f"{HAND_OUT}: +16 −17 +18; top of 4:5:6:7:9"),
    ChordRow("dim7", 5, "225:270:320:384", f"15/8 9/8 4/3 8/5 of the tonic it leads to; {NO_SOURCE}"),
    ChordRow("dim7", 7, "15:18:21:25", f"5:6:7 with a pure minor third to the octave; {NO_SOURCE}"),
    ChordRow("minmaj7", 5, "40:48:60:75", f"leading note a pure third over the fifth; {NO_SOURCE}"),
    ChordRow("7b5", 5, "100:125:144:180", f"two pure major thirds, seventh as in 20:25:30:36; {NO_SOURCE}"),
    ChordRow("7b5", 7, "20:25:28:35", f"two pure major thirds, each tone 7/5 from another; {NO_SOURCE}"),
    ChordRow("7#5", 5, "20:25:32:36", f"least harmonic distance; {NO_SOURCE}"),
    ChordRow("7#5", 7, "16:20:25:28", f"16:20:25 with the harmonic seventh; {NO_SOURCE}"),
    ChordRow("7#5", 13, "8:10:13:14", f"fifth the thirteenth harmonic, least harmonic distance; {NO_SOURCE}"),
    ChordRow("maj7#5", 5, "16:20:25:30", f"16:20:25 under a pure minor third; {NO_SOURCE}"),
    ChordRow("7sus4", 3, "18:24:27:32", f"all fourths and fifths pure; {NO_SOURCE}"),
    ChordRow("6", 5, "12:15:18:20", f"{HAND_OUT}: −14 +2 −16; the tones of 10:12:15:18"),
    ChordRow("min6", 5, "30:36:45:50", f"sixth pure to the root; {NO_SOURCE}"),
    ChordRow("add9", 5, "4:5:6:9", f"4:5:6 with the fifth of the fifth; {NO_SOURCE}"),
    ChordRow("minadd9", 5, "20:24:30:45", f"10:12:15 with the fifth of the fifth; {NO_SOURCE}"),
    ChordRow("6/9", 5, "12:15:18:20:27", f"sixth pure to the root, 27/20 is left over; {NO_SOURCE}"),
    ChordRow("9", 5, "20:25:30:36:45", f"20:25:30:36 with the fifth of the fifth; {NO_SOURCE}"),
    ChordRow("9", 7, "4:5:6:7:9", f"{HAND_OUT}: −14 +2 −31 +4"),
    ChordRow("maj9", 5, "8:10:12:15:18", f"{HAND_OUT}: −14 +2 −12 +4"),
    ChordRow("min9", 5, "20:24:30:36:45", f"10:12:15:18 with the fifth of the fifth; {NO_SOURCE}"),
    ChordRow("7b9", 5, "100:125:150:180:216", f"three pure minor thirds over the major third; {NO_SOURCE}"),
    ChordRow("7b9", 7, "20:25:30:35:42", f"4:5:6:7, ninth 6/5 over the seventh; {NO_SOURCE}"),
    ChordRow("7#9", 5, "20:25:30:36:48", f"both thirds pure, seventh 3/2 over the upper one; {NO_SOURCE}"),
    ChordRow("7#9", 7, "20:25:30:35:48", f"4:5:6:7 with the minor third on top; {NO_SOURCE}"),
    ChordRow("9sus4", 5, "20:27:30:36:45", f"pure triad on the seventh, 27/20 is left over; {NO_SOURCE}"),
    ChordRow("maj7#11", 5, "16:20:24:30:45", f"eleventh a pure fourth under the seventh; {NO_SOURCE}"),
    ChordRow("maj7#11", 11, "8:10:12:15:22", f"eleventh harmonic, 49 cents low; {NO_SOURCE}"),
    ChordRow("min11", 5, "20:24:30:36:45:54", f"pure triad on the seventh, 27/20 is left over; {NO_SOURCE}"),
    ChordRow("13", 5, "60:75:90:108:135:200", f"20:25:30:36:45, thirteenth pure to the root; {NO_SOURCE}"),
    ChordRow("13", 7, "12:15:18:21:27:40", f"4:5:6:7:9, thirteenth pure to the root; {NO_SOURCE}"),
    ChordRow("It+6", 5, "128:160:225", f"{AUGMENTED}; {NO_SOURCE}"),
    ChordRow("It+6", 7, "4:5:7", f"of 4:5:6:7; {NO_SOURCE}"),
    ChordRow("Ger+6", 5, "128:160:192:225", f"{AUGMENTED}; {NO_SOURCE}"),
    ChordRow("Ger+6", 7, "4:5:6:7", f"as the dominant seventh; {NO_SOURCE}"),
    ChordRow("Fr+6", 5, "128:160:180:225", f"{AUGMENTED}, two pure major thirds; {NO_SOURCE}"),
    ChordRow("Fr+6", 7, "20:25:28:35", f"two pure major thirds, each tone 7/5 from another; {NO_SOURCE}"),
)
"""Ordered as the vocabulary, then by prime limit."""


def row_for(symbol: str, prime_limit: int) -> ChordRow | None:
    """Find the row that holds for a chord type at a prime limit, or None: the general rule decides."""
    fitting = [row for row in CHORD_ROWS if row.symbol == symbol and row.prime_limit <= prime_limit]
    return max(fitting, key=lambda row: row.prime_limit, default=None)
