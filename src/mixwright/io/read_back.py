# SPDX-License-Identifier: Apache-2.0
"""Read back what was just written, block by block, through another library than the one that wrote it."""

from __future__ import annotations

from collections.abc import Generator
from pathlib import Path

import numpy as np
import soundfile

from mixwright.errors import OutputError, printable


def written_blocks(path: Path, block_frames: int) -> Generator[np.ndarray, None, None]:
    """Yield a WAV file of our own as float64 blocks ``(frames, channels)``, the last one shorter.

    Files from elsewhere go through `mixwright.io.decode` instead.

    Raises
    ------
    OutputError
        when it cannot be read
    """
    try:
        with soundfile.SoundFile(path) as sound:
            while True:
                block: np.ndarray = sound.read(block_frames, dtype="float64", always_2d=True)
                if not block.shape[0]:
                    return
                yield block
    except (soundfile.LibsndfileError, OSError) as error:
        raise OutputError(f"cannot be read back ({error})", where=printable(path)) from error
