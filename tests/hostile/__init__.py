"""Hostile trials: hurt files, hostile arguments, broken streams, kills, and two writers at once.

``python tests/hostile/run.py`` runs them; a part of each runs in the suite.
"""
