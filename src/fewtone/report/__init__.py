"""Things to look at: colours on a screen, words for figures, the printable page, pictures."""
