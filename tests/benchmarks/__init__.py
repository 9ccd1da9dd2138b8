"""Timings against baselines of the same run; none of them is a test."""
