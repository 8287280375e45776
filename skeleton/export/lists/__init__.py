"""Outline, checklist, targets: reports for a person or another program."""
