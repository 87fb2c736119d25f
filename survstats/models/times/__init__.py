"""Times until something happens: curves, models of bands, and rates; generic frames, no domain words."""
