"""For people: the only place where text meets numbers."""
