"""The budget paper: what each option comes to in lives and money, and what would have to be true for it."""
