"""The pages of the board, each answering with the library calls of the command of its kind."""
