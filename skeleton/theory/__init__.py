"""Pitch, interval, tuning and instruments: tables and arithmetic, standard library only."""
