"""Physics: pure functions on arrays, wavelength last; no files, no state, no colour."""
