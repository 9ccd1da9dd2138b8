"""Readings to curves."""

from __future__ import annotations

from fewtone.learning.diagnosis.suspects import Suspect
from fewtone.learning.estimate import Learnt, estimate
from fewtone.learning.report import FitReport, TonerReport

__all__ = ["FitReport", "Learnt", "Suspect", "TonerReport", "estimate"]
