"""What to buy: lives, money, refresher interval, whom first; and what other people's records add."""
