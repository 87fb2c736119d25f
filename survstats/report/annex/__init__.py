"""The annex: how each figure was reached, for the reader who wants to check it."""
