"""Readings to curves."""

from __future__ import annotations

from fewtone.learning.diagnosis.suspects import Suspect
from fewtone.learning.estimate import STEPS, Learnt, estimate
from fewtone.learning.report import FitReport, TonerReport

__all__ = ["STEPS", "FitReport", "Learnt", "Suspect", "TonerReport", "estimate"]
