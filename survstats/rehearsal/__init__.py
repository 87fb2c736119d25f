"""How often the verdict errs, by simulated studies whose truth is known."""
