# SPDX-License-Identifier: Apache-2.0
"""Prints: files, names, manifest, checks."""
