# SPDX-License-Identifier: Apache-2.0
"""What is wrong with finished audio: each module looks at one thing, in decoded files of any length."""
