# SPDX-License-Identifier: Apache-2.0
"""What lies beside the work, such as the page: when it cannot be written, the work is done all the same."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager

from mixwright.errors import Cancelled, InternalError, MixwrightError


class Beside(UserWarning):
    """The work is done and whole; something beside it is not. The message says what, and how to mend it."""


@contextmanager
def beside(done: str = "") -> Iterator[None]:
    """Turn an error that a person can mend into a warning.

    Parameters
    ----------
    done : str
        What is done all the same, as the beginning of the message.
    """
    try:
        yield
    except (Cancelled, InternalError):
        raise
    except (MixwrightError, OSError) as error:
        warnings.warn(f"{done}{error}", Beside, stacklevel=4)
