"""Arithmetic and manners: nothing here knows of helicopters."""
