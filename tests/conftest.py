# SPDX-License-Identifier: Apache-2.0
"""Loads the package before any test loads numpy: it sets one BLAS thread, as it does for a user."""

from __future__ import annotations

import signal

from hypothesis import settings

import mixwright  # noqa: F401

#: No test depends on how fast a machine is.
settings.register_profile("any machine", deadline=None)
settings.load_profile("any machine")

# Whoever starts the tests may have Ctrl-C ignored, as a shell does for what runs in its background.
signal.signal(signal.SIGINT, signal.default_int_handler)
