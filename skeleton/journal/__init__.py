"""The record across takes: what a student plays and hears in the same way every week.

Measurements and marks are kept in an SQLite file, never a recording. What is read out of it is
plain frozen data, made by pure functions.
"""
