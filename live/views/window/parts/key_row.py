"""One row of a screen's table of keys: the one list behind its shortcuts, buttons and help."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Generic, TypeVar

Act = TypeVar("Act", bound=StrEnum)


@dataclass(frozen=True)  # with slots a generic one cannot be made by its alias in Python 3.11
class KeyRow(Generic[Act]):
    """``action``: what it does, by the screen's own names.  ``keys``: Qt's names, the usual one
    first.  ``words``: what it does, for help and tips.  ``button``: the button's words, empty for
    none.
    """

    action: Act
    keys: tuple[str, ...]
    words: str
    button: str = ""
