# SPDX-License-Identifier: Apache-2.0
"""What an agreement owes beside the files: credits and codes that the song must name."""

from __future__ import annotations

from mixwright.errors import printable
from mixwright.model.agreement import Agreement
from mixwright.model.song import Song


def owed_tags(song: Song, agreement: Agreement) -> tuple[str, ...]:
    """Return which credits and ISRCs were agreed that the song does not have, in words."""
    named = {credit.role.strip().casefold() for credit in song.credits if credit.name.strip()}
    credits_ = [role for role in dict.fromkeys(agreement.credits) if role.strip().casefold() not in named]
    codes = [kind for kind in dict.fromkeys(agreement.isrc) if not song.isrc.get(kind, "").strip()]
    return (
        *(f"credit: song.toml names nobody as {printable(role)}" for role in credits_),
        *(f"isrc: song.toml has none for {kind}" for kind in codes),
    )
