# SPDX-License-Identifier: Apache-2.0
"""The data: frozen records, no arrays, no input or output."""
