"""The nouns: frozen records that say what things are, and nothing about files or optics."""
