# SPDX-License-Identifier: Apache-2.0
"""All targets by name."""

from __future__ import annotations

from fuzz.arguments import ARGUMENTS
from fuzz.headers import AUDIO, HEADERS
from fuzz.names import NAMES
from fuzz.songs import KEPT, SONGS
from fuzz.tagged import TAGS
from fuzz.target import Target

TARGETS: dict[str, Target] = {target.name: target for target in (HEADERS, AUDIO, TAGS, SONGS, KEPT, NAMES, ARGUMENTS)}
