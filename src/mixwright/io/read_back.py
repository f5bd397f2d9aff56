# SPDX-License-Identifier: Apache-2.0
"""Read back what was just written, block by block, through another library than the one that wrote it."""

from __future__ import annotations

from collections.abc import Generator, Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import soundfile

from mixwright.errors import OutputError, printable
from mixwright.io.write import SampleFormat

_FORMATS: dict[str, SampleFormat] = {"PCM_16": "pcm16", "PCM_24": "pcm24", "FLOAT": "float32"}


def written_form(path: Path) -> tuple[int, SampleFormat | None]:
    """Return the rate in Hz and the format of the samples of a file of our own, as its header says; None: another.

    Raises
    ------
    OutputError
        when it cannot be read
    """
    with _opened(path) as sound:
        return sound.samplerate, _FORMATS.get(sound.subtype)


def written_blocks(path: Path, block_frames: int) -> Generator[np.ndarray, None, None]:
    """Yield a WAV or FLAC file of our own as float64 blocks ``(frames, channels)``, the last one shorter.

    Files from elsewhere go through `mixwright.io.decode` instead.

    Raises
    ------
    OutputError
        when it cannot be read
    """
    with _opened(path) as sound:
        while True:
            block: np.ndarray = sound.read(block_frames, dtype="float64", always_2d=True)
            if not block.shape[0]:
                return
            yield block


@contextmanager
def _opened(path: Path) -> Iterator[soundfile.SoundFile]:
    try:
        with soundfile.SoundFile(path) as sound:
            yield sound
    except (soundfile.LibsndfileError, OSError) as error:
        raise OutputError(f"cannot be read back ({error})", where=printable(path)) from error
