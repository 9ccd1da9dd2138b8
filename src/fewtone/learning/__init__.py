"""Readings to curves."""

from __future__ import annotations

from fewtone.learning.joint import Learnt, estimate
from fewtone.learning.report import FitReport, TonerReport
from fewtone.learning.suspects import Suspect

__all__ = ["FitReport", "Learnt", "Suspect", "TonerReport", "estimate"]
