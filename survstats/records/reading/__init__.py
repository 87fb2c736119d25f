"""Record files as tables of texts."""
