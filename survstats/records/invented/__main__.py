"""Writes every invented study below a folder: ``python -m survstats.records.invented DIR``."""

import sys

from survstats.records.invented.studies import main

if len(sys.argv) != 2:
    sys.exit("Say where to: python -m survstats.records.invented DIR")
main(sys.argv[1])
