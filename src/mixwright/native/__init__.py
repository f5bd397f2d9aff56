# SPDX-License-Identifier: Apache-2.0
"""The C core, loaded through ctypes with the interpreter lock released."""
