"""What if everyone had been trained."""
