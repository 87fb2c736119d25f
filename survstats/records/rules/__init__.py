"""What the records must agree with."""
