# SPDX-License-Identifier: Apache-2.0
"""Loads the package before any test loads numpy: it sets one BLAS thread, as it does for a user."""

from __future__ import annotations

import mixwright  # noqa: F401
