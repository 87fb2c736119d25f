"""The workbooks that people fill in or read."""
