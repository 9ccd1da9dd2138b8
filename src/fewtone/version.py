"""The version of fewtone, the one place where it stands: the build reads it from here."""

from __future__ import annotations

__all__ = ["__version__"]

__version__ = "0.1.0"
