# SPDX-License-Identifier: Apache-2.0
"""The ear: how loud a layer is alone, and how much of it is left in the mix."""
