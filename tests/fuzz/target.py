# SPDX-License-Identifier: Apache-2.0
"""What is fuzzed: seeds, a mutation that knows their form, and what to do with the result."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

#: Mutates bytes that were a seed or came of one.
Mutate = Callable[[bytes, random.Random], bytes]
#: Tries one input; any exception is a fault of ours.
Try = Callable[[bytes], None]

#: Numbers at which sizes and counts go wrong.
EDGES = (0, 1, 2, 3, 7, 8, 16, 24, 0x7F, 0x80, 0xFF, 0x7FFF, 0x8000, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFF0)
WIDE_EDGES = (*EDGES, 0xFFFFFFFF, 0x100000000, 0x7FFFFFFFFFFFFFFF, 0x8000000000000000, 0xFFFFFFFFFFFFFFFF)
MAX_BYTES = 1 << 16


@dataclass(frozen=True)
class Target:
    """One thing that is fuzzed.

    `open`: given an empty folder to work in, returns what tries one input.
    """

    name: str
    seeds: Callable[[], Sequence[bytes]]
    mutate: Mutate
    open: Callable[[Path], Try]


def mutated_bytes(data: bytes, rng: random.Random) -> bytes:
    """Return bytes with one change of no form in particular."""
    content = bytearray(data)
    at = rng.randrange(len(content) + 1)
    size = min(len(content) - at, rng.choice((1, 2, 4, 8, 16, 64, 500)))
    kind = rng.randrange(6)
    if kind == 0 and at < len(content):
        content[at] ^= 1 << rng.randrange(8)
    elif kind == 1:
        width = rng.choice((1, 2, 4, 8))
        number = rng.choice(WIDE_EDGES) & ((1 << 8 * width) - 1)
        content[at : at + width] = number.to_bytes(width, rng.choice(("little", "big")))
    elif kind == 2:
        del content[at : at + size]
    elif kind == 3:
        content[at:at] = content[at : at + size] * rng.choice((1, 1, 2, 30))
    elif kind == 4:
        content[at:at] = rng.randbytes(rng.choice((1, 2, 4, 30)))
    else:
        del content[at:]
    return bytes(content[:MAX_BYTES])


def mutated_fields(data: bytes, rng: random.Random, words: Sequence[str]) -> bytes:
    """Return texts that stand between zeros with one change to one of them, or to their number and order."""
    fields = data.decode("utf-8", "surrogateescape").split("\0")
    at = rng.randrange(len(fields))
    kind = rng.randrange(5)
    if kind == 0:
        fields[at] = mutated_text(fields[at], rng, words)
    elif kind == 1:
        fields.insert(at, rng.choice((*words, rng.choice(fields))))
    elif kind == 2 and len(fields) > 1:
        del fields[at]
    elif kind == 3:
        fields[at] = rng.choice(words)
    else:
        other = rng.randrange(len(fields))
        fields[at], fields[other] = fields[other], fields[at]
    return "\0".join(fields).encode("utf-8", "surrogateescape")[:MAX_BYTES]


def mutated_text(text: str, rng: random.Random, words: Sequence[str]) -> str:
    """Return a text with one change: characters gone, doubled or exchanged, or a word put in."""
    at = rng.randrange(len(text) + 1)
    end = min(len(text), at + rng.choice((1, 1, 2, 5, 40)))
    kind = rng.randrange(6)
    if kind == 0:
        return text[:at] + text[end:]
    if kind == 1:
        return text[:at] + text[at:end] * rng.choice((2, 2, 3, 40)) + text[end:]
    if kind == 2:
        return text[:at] + rng.choice(words) + text[end:]
    if kind == 3:
        return text[:at] + rng.choice(words) + text[at:]
    if kind == 4:
        return text[:at] + chr(rng.choice((rng.randrange(32), rng.randrange(0x250), rng.randrange(0xD800)))) + text[at:]
    return text[:at] + text[at:end][::-1] + text[end:]
