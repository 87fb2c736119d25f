"""What the records show."""
