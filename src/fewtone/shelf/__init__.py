"""A learnt shelf (`learnt`) with its verbs (`verbs`), which are the commands of the same names."""

from __future__ import annotations

from fewtone.shelf.verbs import Shelf

__all__ = ["Shelf"]
