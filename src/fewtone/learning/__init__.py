"""Readings to curves."""

from __future__ import annotations

from fewtone.learning.joint import Learnt, estimate
from fewtone.learning.report import FitReport, ToneReport

__all__ = ["FitReport", "Learnt", "ToneReport", "estimate"]
