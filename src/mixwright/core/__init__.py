# SPDX-License-Identifier: Apache-2.0
"""Filters, spectra, resampling, alignment."""
