# SPDX-License-Identifier: Apache-2.0
"""Profiles of finished records."""
