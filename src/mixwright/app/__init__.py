# SPDX-License-Identifier: Apache-2.0
"""One file = one thing a user does."""
