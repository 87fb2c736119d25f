"""What was written down: loading, checking, deriving, counting in."""
