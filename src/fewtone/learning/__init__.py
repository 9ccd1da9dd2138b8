"""Readings to curves."""

from __future__ import annotations

from fewtone.learning.joint import Learnt, estimate
from fewtone.learning.report import FitReport, TonerReport

__all__ = ["FitReport", "Learnt", "TonerReport", "estimate"]
