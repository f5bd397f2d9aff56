# SPDX-License-Identifier: Apache-2.0
"""What the words in file names mean.

The tokens are those in common use among engineers (common practice; many are listed with real session
names in the literature on multitrack data sets, e.g. Ronan et al., DAFx 2015).
"""

from __future__ import annotations

#: Meaning -> the tokens that carry it. A token may carry several meanings; the reading decides.
_TOKENS: dict[str, str] = {
    "kick": "kick kin kik kck kk bd bdr bassdrum kd kout ksub kdrum",
    "snare": "snare snr sn sd sbot stop rim rimshot sidestick clap claps snap snaps",
    "hats": "hh hat hihat hats ohat chat",
    "toms": "tom toms t1 t2 t3 t4 rack floor ft rt floortom racktom ftom",
    "cymbals": "ride crash cym cyms cymbal china splash",
    "overheads": "oh ohl ohr over ovh ohs overhead overs",
    "room": "room rm rooms amb ambience ambient far crotch knee",
    "drums": "drum drums drm drms kit drumkit drumset beat beats drumbus drummer",
    "percussion": "perc percs percussion shk shaker shakers tamb tambourine tambo cong conga congas bongo"
    " bongos cow cowbell clave claves triangle timbale timbales djembe cajon guiro woodblock steeldrum steelpan"
    " cabasa maraca maracas timpani",
    "loop": "loop loops lp breakbeat",
    "sample": "trig trigger smp sample samples smpl",
    "bass": "bass bs bassdi bassamp bdi synbass basse contrabass slapbass upright bassline 808",
    "sub": "sub subs subbass",
    "guitar": "gtr gt guit guitar gtrs gits git egtr acgtr leadgtr guitarra",
    "acoustic": "acou acoustic acoust nylon acg ac acgtr 12string strum",
    "acoustic_guitar": "ag banjo uke ukulele mandolin bouzouki resonator",
    "electric": "elec electric egtr elgtr",
    "electric_guitar": "eg dist dst distorted crunch overdrive riff powerchord powerchords",
    "clean": "clean cln",
    "rhythm": "rhy rhythm rhyt rhtm",
    "di": "di dibox",
    "amp": "amp cab cabinet amped",
    "keys": "key keys keyboard keyboards pno pf piano pianos grand upr ep epiano epno clav clavinet"
    " harpsichord celesta celeste vibes vibraphone marimba xylophone glockenspiel glock glocken musicbox kalimba"
    " bells bell",
    "organ": "org organ organs drawbar",
    "pad": "pad pads atmo atmos drone texture soundscape",
    "synth": "syn synth synths syth syntheziser synthesizer sy arp arps arpeggio pluck plucks seq sequence"
    " sequencer stab stabs chord chords saw supersaw square poly modular wobble lfo",
    "melody": "melody mel mld topline riff motif theme hookline solo",
    "strings": "str strings string violin violins vln vlns viola violas vla vlas cello cellos vc vlc orch"
    " orchestra quartet pizz pizzicato fiddle harp",
    "brass": "brass hrn horn horns trumpet trumpets tpt trp trombone trombones tbn tuba sax saxes saxophone"
    " flugel bari",
    "wind": "flute flutes fl oboe clarinet bassoon recorder whistle piccolo accordion harmonica",
    "voice": "vox voxes voc vocs vocal vocals vx vcl vcls voice voices voz gesang sing singer rap",
    "lead_voice": "lv lvox ldvox leadvox ldv leadvocal leadvoc leadvocals ldvoc",
    "backing_voice": "bv bvs bgv bgvs bvox bgvox bgvocal bgvocals backingvox backingvocal backingvocals harm"
    " harms hrm harmony harmonies oo ooh oohs oos ah ahh ahs aah aahs choir choirs gang gangs adlib adlibs shout"
    " shouts chant whisper whispers humming hum",
    "lead": "lead ld",
    "main": "main",
    "backing": "bg back backing background",
    "double": "dbl dbls double doubles doubled adt dub dubs dt",
    "stack": "stack stacks",
    "effects": "fx sfx efx effect effects riser rise risers impact impacts sweep sweeps swell noise whoosh"
    " swoosh boom downlifter uplifter transition transitions reverse rev foley",
    "return": "verb reverb rvb rvrb revb dly delay delays echo echoes throw throws plate spring slap slapback"
    " return rtn hall",
    "ensemble": "music band instruments backline",
    "print": "mix rough roughmix backingtrack ref refs reference master mst mstr print prints 2mix mixdown"
    " mixdowns premaster bounce 2trk 2track twotrack demo instrumental inst minus karaoke stereomix fullmix mixbus"
    " masterbus",
    "guide": "guide scratch",
    "rough": "rough ref reference demo",
    "click": "click clk clik clicktrack metronome metro countin count cue",
    "top": "top",
    "bottom": "bot btm bottom bttm",
    "in": "in inside",
    "out": "out outside",
}

_NEUTRAL = """
take tk comp cmp edit edits edited final finals fin new old alt v ver version vers stem stems st stereo mono
audio track trk tracks rec recording wav dry wet raw tuned tune bip consolidated cons render rendered export
bpm hz khz bit verse chorus bridge intro outro hook pre prechorus refrain breakdown break part section mid
middle end a b c d e f g x the and of with mic mics close clo near left right l r lft rgt lt centre center ctr
hi high lo low soft loud short long big small wide mon side bus group grp sum all extra layer layers no nr vol
am em dm maj min m s only overdub overdubs od overdubbed drop 414
"""
#: Words that say nothing about the role: takes, versions, formats, parts of the song.
NEUTRAL = frozenset(_NEUTRAL.split())

_GUITARS = ("gtr", "gt", "guit", "guitar", "gtrs", "guitars", "git")
#: Meanings that describe a track without naming an instrument.
DESCRIBING = frozenset(
    {"sample", "sub", "acoustic", "electric", "clean", "rhythm", "di", "amp", "melody", "lead", "main", "backing"}
    | {"ensemble"}
    | {"double", "stack", "print", "guide", "rough", "click", "top", "bottom", "in", "out"}
)
#: Neighbouring words that are one word.
PHRASES: dict[tuple[str, str], str] = {
    ("12", "string"): "12string",
    ("12", "str"): "12string",
    ("bass", "drum"): "bassdrum",
    ("double", "bass"): "contrabass",
    ("slap", "bass"): "slapbass",
    ("hi", "hat"): "hihat",
    ("hi", "hats"): "hihat",
    ("side", "stick"): "sidestick",
    ("steel", "drum"): "steeldrum",
    ("steel", "drums"): "steeldrum",
    ("wood", "block"): "woodblock",
    ("mouth", "organ"): "harmonica",
    ("music", "box"): "musicbox",
    ("backing", "track"): "backingtrack",
    ("b", "v"): "bv",
    ("b", "vox"): "bvox",
    ("l", "v"): "lv",
    ("l", "vox"): "lvox",
    **{("e", word): "egtr" for word in _GUITARS},
    **{("el", word): "egtr" for word in _GUITARS},
    **{("a", word): "acgtr" for word in _GUITARS},
}

#: The number beside one of these is a take, a version, a tempo or a format: before it, or after it.
NUMBERED_BEFORE = frozenset({"take", "tk", "v", "ver", "version", "bpm", "rev"})
NUMBERED_AFTER = frozenset({"bpm", "hz", "khz", "bit", "k"})

#: Prints that hold everything but the voice: with nothing but voices beside them they are a layer.
INSTRUMENTALS = frozenset({"instrumental", "inst", "backingtrack", "minus", "karaoke"})


def _meanings() -> dict[str, frozenset[str]]:
    table: dict[str, set[str]] = {}
    for meaning, tokens in _TOKENS.items():
        for token in tokens.split():
            table.setdefault(token, set()).add(meaning)
    return {token: frozenset(meanings) for token, meanings in table.items()}


MEANINGS = _meanings()


def meanings_of(token: str) -> frozenset[str]:
    """Return what a lower-case token means; a plural means what its singular does; nothing if unknown."""
    found = MEANINGS.get(token)
    if found is None and len(token) > 3 and token.endswith("s"):
        found = MEANINGS.get(token[:-1])
    return found or frozenset()


def is_known(token: str) -> bool:
    """Return whether a token has a meaning or is known to have none."""
    return bool(meanings_of(token)) or token in NEUTRAL
