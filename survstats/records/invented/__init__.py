"""Studies whose people and mishaps never existed."""
