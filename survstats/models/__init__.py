"""What goes with what: generic frames, no domain words."""
