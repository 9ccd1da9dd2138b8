"""Panels that do not fit, and which entry error would explain them."""
