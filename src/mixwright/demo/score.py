# SPDX-License-Identifier: Apache-2.0
"""What is played when: a piece of music as data, on a grid of sixteenths."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property

from mixwright.demo.signals import RATE_HZ

STEPS_PER_BAR = 16

_PITCHES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_ACCIDENTALS = {"#": 1, "b": -1}


def midi_from_name(name: str) -> int:
    """Return the note number of a name like ``F#4`` (C4 = 60)."""
    return pitch_class(name[:-1]) + 12 * (int(name[-1]) + 1)


def pitch_class(name: str) -> int:
    """Return 0 to 11 for a note name without octave."""
    return _PITCHES[name[0]] + sum(_ACCIDENTALS[sign] for sign in name[1:])


@dataclass(frozen=True)
class Chord:
    """A triad by name: ``C``, ``Em``, ``Bb``."""

    name: str

    @property
    def root(self) -> int:
        """Pitch class of the root."""
        return pitch_class(self.name.removesuffix("m"))

    @property
    def intervals(self) -> tuple[int, int, int]:
        """Semitones above the root."""
        return (0, 3, 7) if self.name.endswith("m") else (0, 4, 7)

    def bass(self, lowest: int = 28) -> int:
        """Return the lowest root at or above a note number."""
        return lowest + (self.root - lowest) % 12

    def voiced(self, lowest: int, notes: int) -> tuple[int, ...]:
        """Return the lowest chord tones at or above a note number, in close position."""
        wanted = {(self.root + interval) % 12 for interval in self.intervals}
        found = [midi for midi in range(lowest, lowest + 13 * notes) if midi % 12 in wanted]
        return tuple(found[:notes])


@dataclass(frozen=True)
class Phrase:
    """A sung phrase: where it starts in its section, and its syllables.

    `text` holds ``sound:note:sixteenths`` for each syllable, for example ``slo:G4:2``; the sounds are
    spelled as :mod:`mixwright.demo.voices` explains. ``-`` as the sound rests.
    """

    bar: int
    step: float
    text: str


@dataclass(frozen=True)
class Part:
    """One section: its bars, the chord of each (repeated as needed), and who plays what.

    `plays` maps a layer to its pattern: one character for each sixteenth, one or more bars, repeated.
    ``X`` accent, ``x`` played, ``o`` soft or open, ``.`` nothing new. `force` scales all that sounds.
    """

    name: str
    bars: int
    chords: tuple[Chord, ...]
    plays: Mapping[str, str]
    sings: Mapping[str, tuple[Phrase, ...]] = field(default_factory=dict)
    force: float = 1.0


@dataclass(frozen=True)
class Syllable:
    """One sung note: where its vowel starts and ends, in s, its pitch, and how strongly it is sung."""

    sound: str
    midi: float
    start_s: float
    end_s: float
    force: float = 1.0


@dataclass(frozen=True)
class Hit:
    """One played note: its first frame, the frames until the next of the same layer, its force 0..1."""

    frame: int
    frames: int
    force: float
    mark: str
    bar: int
    step: int
    chord: Chord


_FORCE = {"X": 1.0, "x": 0.75, "o": 0.5}


@dataclass(frozen=True)
class Piece:
    """A whole piece. A sixteenth is a whole number of frames, so bar lines are exact."""

    title: str
    artist: str
    key: str
    tempo_bpm: int
    parts: tuple[Part, ...]
    tail_bars: int = 1

    @property
    def step_frames(self) -> int:
        """Frames of a sixteenth."""
        frames, rest = divmod(60 * RATE_HZ, 4 * self.tempo_bpm)
        if rest:
            raise ValueError(f"at {self.tempo_bpm} bpm a sixteenth is not a whole number of frames")
        return frames

    @property
    def bar_frames(self) -> int:
        """Frames of a bar."""
        return STEPS_PER_BAR * self.step_frames

    @property
    def bars(self) -> int:
        """Bars that are played."""
        return sum(part.bars for part in self.parts)

    @property
    def frames(self) -> int:
        """Length of every layer, the ring-out included."""
        return (self.bars + self.tail_bars) * self.bar_frames

    @cached_property
    def first_bars(self) -> tuple[int, ...]:
        """Bar in which each part starts, from 0."""
        starts = [0]
        for part in self.parts[:-1]:
            starts.append(starts[-1] + part.bars)
        return tuple(starts)

    def section_s(self, index: int) -> tuple[float, float]:
        """Return start and end of a part in s; the last one includes the ring-out."""
        first = self.first_bars[index]
        last = first + self.parts[index].bars
        if index == len(self.parts) - 1:
            last += self.tail_bars
        return first * self.bar_frames / RATE_HZ, last * self.bar_frames / RATE_HZ

    def hits(self, layer: str) -> tuple[Hit, ...]:
        """Return everything a layer plays, in order; a note lasts until the next or the end of its part.

        At the end of the piece it lasts into the tail, and leaves a third of that to ring out.
        """
        result: list[Hit] = []
        for part, first_bar in zip(self.parts, self.first_bars, strict=True):
            pattern = part.plays.get(layer, "")
            steps = [
                (step, mark) for step in range(part.bars * STEPS_PER_BAR) if (mark := _mark(pattern, step)) in _FORCE
            ]
            held = self.tail_bars * STEPS_PER_BAR * 2 // 3 if part is self.parts[-1] else 0
            ends = [*(step for step, _ in steps), part.bars * STEPS_PER_BAR + held][1:]
            for (step, mark), end in zip(steps, ends, strict=True):
                bar, in_bar = divmod(step, STEPS_PER_BAR)
                result.append(
                    Hit(
                        frame=first_bar * self.bar_frames + step * self.step_frames,
                        frames=(end - step) * self.step_frames,
                        force=part.force * _FORCE[mark],
                        mark=mark,
                        bar=first_bar + bar,
                        step=in_bar,
                        chord=part.chords[bar % len(part.chords)],
                    )
                )
        return tuple(result)

    def phrases(self, layer: str) -> Iterator[tuple[Syllable, ...]]:
        """Yield the phrases that a voice sings, in order."""
        for part, first_bar in zip(self.parts, self.first_bars, strict=True):
            for phrase in part.sings.get(layer, ()):
                step = (first_bar + phrase.bar) * STEPS_PER_BAR + phrase.step
                yield tuple(self._syllables(phrase.text, step, part.force))

    def _syllables(self, text: str, step: float, force: float) -> Iterator[Syllable]:
        step_s = self.step_frames / RATE_HZ
        for word in text.split():
            sound, note, steps = word.split(":")
            if sound != "-":
                yield Syllable(sound, midi_from_name(note), step * step_s, (step + float(steps)) * step_s, force)
            step += float(steps)


def _mark(pattern: str, step: int) -> str:
    return pattern[step % len(pattern)] if pattern else "."
