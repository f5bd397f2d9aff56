# SPDX-License-Identifier: Apache-2.0
"""The pieces, all invented: the demo song, and two finished records of other artists to refer to."""

from __future__ import annotations

from mixwright.demo.score import Chord, Part, Phrase, Piece


def _chords(names: str) -> tuple[Chord, ...]:
    return tuple(Chord(name) for name in names.split())


_VERSE = _chords("Em C G D")
_CHORUS = _chords("C G D Em")

# One bar of sixteenths, or more; see `Part`.
_FOUR_AND_FIVE = {
    "kick": "X.......X.x....." + "X.......X.x...x.",
    "snare": "....X.......X..." + "....X..o....X...",
}
_DRIVING = {
    "kick": "X.....x.X.x....." + "X.....x.X.x...x.",
    "snare": "....X.......X..." + "....X..o.o..X..." + "....X.......X..." + "....X..o....X.xx",
}
_EIGHTHS = "x.o.x.o.x.o.x.o."
_OPEN_EIGHTHS = "x.o.x.X.x.o.x.X."
_SIXTEENTHS = "xoxoxoxoxoxoxoxo"
_BASS_VERSE = "X.....x.x...x.o." + "X.....x.x......."
_BASS_CHORUS = "X.x.x.x.X.x.x.o."
_STRUM_VERSE = "X.......x......."
_STRUM_LEFT = "X...x.o.x.o.x.o."
_STRUM_RIGHT = "X..xo.x.X..xo.x."
_HELD = "X..............."
_KEYS = "X.....x.....x..."

_EVERYTHING = {
    **_DRIVING,
    "hats": _OPEN_EIGHTHS,
    "cymbal": "X..............." + "." * 48,
    "tom high": "." * 116 + "X.x.xx......",
    "tom low": "." * 122 + "..X.Xx",
    "shaker": _SIXTEENTHS,
    "tambourine": "X...x...x...x.o.",
    "bass": _BASS_CHORUS,
    "sub": _HELD,
    "pad": _HELD,
    "glass": _HELD,
    "keys": _KEYS,
    "guitar left": _STRUM_LEFT,
    "guitar right": _STRUM_RIGHT,
    "clean": "x.x.x.x.x.x.x.x.",
    "arp": "xxxxxxxxxxxxxxxx",
    "stabs": "X.....x...x....." + "X.....x...x..x..",
    "impact": "X" + "." * 127,
}

_CHORUS_LEAD = (
    Phrase(0, 0, "hold:B4:4 mi:D5:2 tu:C5:2 D@:B4:2 sIl:G4:2 v3:A4:2 lan:B4:6"),
    Phrase(2, 0, "ol:A4:2 wi:B4:2 a:D5:2 Iz:B4:2 sol:A4:2 tan:F#4:2 tam:A4:2 In:B4:6"),
    Phrase(4, 0, "rol:B4:4 on:D5:2 slo:C5:2 m@:B4:2 Sin:G4:2 rol:E4:2 on:D5:8"),
    Phrase(6, 0, "kA:A4:2 ri:B4:2 ev:D5:2 ri:C5:2 w@n:B4:2 hom:A4:4 hom:B4:10"),
)
_CHORUS_HIGH = (
    Phrase(0, 0, "o:E5:14"),
    Phrase(1, 0, "a:D5:14"),
    Phrase(2, 0, "sol:A4:6 tan:D5:8"),
    Phrase(3, 0, "tam:B4:14"),
)
_CHORUS_LOW = (
    Phrase(0, 0, "o:G4:14"),
    Phrase(1, 0, "a:G4:14"),
    Phrase(2, 0, "sol:F#4:6 tan:F#4:8"),
    Phrase(3, 0, "tam:G4:14"),
)


def _twice(phrases: tuple[Phrase, ...]) -> tuple[Phrase, ...]:
    """Return four bars of phrases, and the same again."""
    return phrases + tuple(Phrase(p.bar + 4, p.step, p.text) for p in phrases)


#: What the tune of the synthesiser answers where the voice rests; a plain vowel stands for every note.
_HOOK = (
    Phrase(1, 8, "a:B5:2 a:D6:2 a:B5:2 a:A5:2"),
    Phrase(3, 8, "a:E6:2 a:D6:2 a:B5:4"),
    Phrase(5, 8, "a:B5:2 a:D6:2 a:B5:2 a:A5:2"),
    Phrase(7, 8, "a:G5:2 a:A5:2 a:B5:4"),
)

_CHORUS_VOICES = {
    "hook": _HOOK,
    "lead": _CHORUS_LEAD,
    "double": _CHORUS_LEAD,
    "high": _twice(_CHORUS_HIGH),
    "low": _twice(_CHORUS_LOW),
}

SONG = Piece(
    title="Slow Engine Weather",
    artist="Brindle Harrow",
    key="E minor",
    tempo_bpm=128,
    parts=(
        Part(
            "intro",
            4,
            _VERSE,
            {"pad": _HELD, "keys": _KEYS, "hats": _EIGHTHS},
            {"hook": (Phrase(1, 0, "a:B5:4 a:D6:2 a:E6:8"), Phrase(3, 0, "a:D6:4 a:B5:2 a:A5:6"))},
            force=1.0,
        ),
        Part(
            "verse 1",
            8,
            _VERSE,
            {
                **_FOUR_AND_FIVE,
                "hats": _EIGHTHS,
                "bass": _BASS_VERSE,
                "keys": _KEYS,
                "guitar left": _STRUM_VERSE,
                "guitar right": _STRUM_VERSE,
                "clean": "x...x.x...x...x.",
                "riser": "." * 96 + "X" + "." * 31,
            },
            {
                "lead": (
                    Phrase(0, 2, "slo:E4:2 en:G4:2 jIn:G4:2 we:A4:2 D3:G4:2 ro:E4:2 lIn:G4:2 In:B4:6"),
                    Phrase(2, 2, "a:D4:2 left:G4:2 D@:G4:2 lAmp:A4:2 on:B4:2 In:A4:2 D@:F#4:2 ren:A4:6"),
                    Phrase(4, 2, "yu:E4:2 sed:G4:2 D@:G4:2 har:B4:2 b3:A4:2 ne:G4:2 v3:E4:1 slips:G4:6"),
                    Phrase(6, 2, "a:D4:2 kan:G4:2 D@:A4:2 Sips:B4:3 @:A4:1 gen:F#4:8"),
                )
            },
            0.75,
        ),
        Part("chorus 1", 8, _CHORUS, _EVERYTHING, _CHORUS_VOICES),
        Part(
            "verse 2",
            4,
            _VERSE,
            {
                **_FOUR_AND_FIVE,
                "hats": _EIGHTHS,
                "shaker": _SIXTEENTHS,
                "bass": _BASS_VERSE,
                "keys": _KEYS,
                "guitar left": _STRUM_VERSE,
                "arp": "x.x.x.x.x.x.x.x.",
                "glass": _HELD,
                "tom high": "." * 52 + "X.x.x.......",
                "tom low": "." * 58 + "x.X.xx",
            },
            {
                "lead": (
                    Phrase(0, 2, "solt:E4:2 on:G4:2 D@:G4:1 wIn:A4:2 do:G4:2 smok:B4:2 In:A4:2 D@:G4:1 hol:G4:6"),
                    Phrase(2, 2, "no:D4:2 b@:G4:1 di:G4:2 An:A4:2 s3z:G4:2 wen:B4:2 a:A4:2 kol:A4:7"),
                )
            },
            0.8,
        ),
        Part(
            "bridge",
            4,
            _chords("Am C G D"),
            {
                "kick": _HELD,
                "tom high": "....x.......x...",
                "tom low": "X.....x.X......." + "X.....x.X...x.x.",
                "pad": _HELD,
                "glass": _HELD,
                "clean": "xxxxxxxxxxxxxxxx",
                "stabs": "X...............",
                "bass": _HELD,
                "sub": _HELD,
                "riser": "." * 32 + "X" + "." * 31,
            },
            {
                "lead": (
                    Phrase(0, 2, "ol:E4:2 D@:G4:2 trenz:A4:2 ar:B4:2 gon:A4:8"),
                    Phrase(2, 2, "ol:G4:2 D@:A4:2 wIr:B4:2 stIl:D5:2 hom:B4:8"),
                )
            },
            0.8,
        ),
        Part("chorus 2", 8, _CHORUS, _EVERYTHING, _CHORUS_VOICES),
        Part(
            "outro",
            4,
            _chords("Em C G Em"),
            {
                "pad": _HELD,
                "keys": _KEYS * 3 + _HELD,
                "guitar left": _HELD,
                "clean": "x...x...x...x...",
                "cymbal": "X" + "." * 63,
                "impact": "X" + "." * 63,
            },
            {"lead": (Phrase(1, 2, "slo:E4:2 en:G4:2 jIn:G4:2 we:A4:2 D3:G4:8"),)},
            0.75,
        ),
    ),
)

_PARADE_TUNE = (
    Phrase(0, 0, "ke:F4:2 t@l:A4:2 mun:C5:4 o:A4:2 v3:G4:2 D@:F4:2 hIl:G4:8"),
    Phrase(2, 0, "ev:D4:2 ri:F4:2 ban:A4:4 plez:A4:4 stIl:G4:10"),
    Phrase(4, 0, "wan:F4:2 mor:A4:2 men:C5:4 mart:D5:2 Sin:C5:2 ba:A4:8"),
    Phrase(6, 0, "ho:A4:2 ldIn:G4:2 @p:F4:4 D@:E4:2 ska:F4:10"),
)

_PARADE = Piece(
    title="Kettle Moon Parade",
    artist="The Ninth Umbrella",
    key="D minor",
    tempo_bpm=96,
    parts=(
        Part(
            "verse",
            4,
            _chords("Dm Bb F C"),
            {
                "kick": "X.........x.....",
                "snare": "....X.......X...",
                "hats": _EIGHTHS,
                "bass": "X.....x.x.......",
                "keys": "X.......x.......",
                "guitar left": "x.......o...x...",
                "pad": _HELD,
            },
            {"lead": _PARADE_TUNE[:2]},
            0.8,
        ),
        Part(
            "chorus",
            8,
            _chords("Bb F C Dm"),
            {
                "kick": "X..x....X.x.....",
                "snare": "....X.......X..o",
                "hats": "x.x.x.X.x.x.x.X.",
                "cymbal": "X" + "." * 63,
                "shaker": _SIXTEENTHS,
                "bass": "X.x...x.X.x...o.",
                "pad": _HELD,
                "keys": "X...x...X...x...",
                "guitar left": "X.x.o.x.X.x.o.x.",
                "guitar right": "X...o.x.X...o.x.",
                "clean": "x...x...x...x...",
                "arp": "x.x.x.x.x.x.x.x.",
            },
            {
                "lead": _PARADE_TUNE,
                "double": _PARADE_TUNE,
                "low": _twice((Phrase(0, 0, "u:D4:30"), Phrase(2, 0, "a:E4:14"), Phrase(3, 0, "o:F4:14"))),
            },
        ),
    ),
)

_TIDE_TUNE = (
    Phrase(0, 0, "ko:G4:2 p3:Bb4:2 wo:D5:4 t3:C5:2 an:Bb4:2 D@:A4:2 stAr:Bb4:8"),
    Phrase(2, 0, "ri:F4:2 tIn:G4:2 don:Bb4:4 D@:A4:2 har:G4:2 b3:F4:8"),
    Phrase(4, 0, "ev:G4:2 ri:Bb4:2 num:D5:4 b3:C5:2 In:Bb4:2 D@:A4:2 buk:Bb4:8"),
    Phrase(6, 0, "lIf:A4:2 tIn:Bb4:2 D@:C5:4 si:D5:4 In:C5:2 tu:Bb4:10"),
)

_TIDE = Piece(
    title="Copper Tide Almanac",
    artist="Vesper Sextant",
    key="G minor",
    tempo_bpm=100,
    parts=(
        Part(
            "verse",
            4,
            _chords("Gm Eb Bb F"),
            {
                "kick": "X...x...X...x...",
                "snare": "....X.......X...",
                "hats": "..X...X...X...X.",
                "bass": "X.xx..x.X.x...x.",
                "pad": _HELD,
                "stabs": "..X...X...X...X.",
                "tambourine": "....x.......x...",
            },
            {"lead": _TIDE_TUNE[:2]},
            0.85,
        ),
        Part(
            "chorus",
            8,
            _chords("Eb Bb F Gm"),
            {
                "kick": "X...X...X...X...",
                "snare": "....X.......X...",
                "hats": "..X...X...X...X.",
                "cymbal": "X" + "." * 63,
                "shaker": _SIXTEENTHS,
                "tambourine": "....X.......X...",
                "bass": "X.x.x.x.X.x.x.x.",
                "sub": _HELD,
                "pad": _HELD,
                "glass": _HELD,
                "keys": "..x...x...x...x.",
                "guitar left": "..o...o...o...o.",
                "guitar right": "....o.......o...",
                "arp": "xxxxxxxxxxxxxxxx",
                "stabs": "X..x..x.X..x..x.",
                "impact": "X" + "." * 127,
            },
            {
                "lead": _TIDE_TUNE,
                "high": _twice((Phrase(0, 0, "a:Bb4:30"), Phrase(2, 0, "o:C5:14"), Phrase(3, 0, "a:D5:14"))),
                "low": _twice((Phrase(0, 0, "a:G4:30"), Phrase(2, 0, "o:A4:14"), Phrase(3, 0, "a:Bb4:14"))),
            },
        ),
    ),
)

#: Finished records, in the order in which :class:`mixwright.demo.layers.Layer` names their faders.
RECORDS = (_PARADE, _TIDE)
