# SPDX-License-Identifier: Apache-2.0
"""The only package that touches files."""
