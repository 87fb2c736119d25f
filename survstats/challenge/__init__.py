"""What would overturn it."""
