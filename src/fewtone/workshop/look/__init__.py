"""Looking at a recipe before it is mixed: check, letdown, simplify."""
