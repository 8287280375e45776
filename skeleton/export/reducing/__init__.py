"""The etude reduced to its skeleton: which notes stay, when they stand, how they are written."""
