# SPDX-License-Identifier: Apache-2.0
"""Progress, cancelling, threads, and the cache keyed by content."""
