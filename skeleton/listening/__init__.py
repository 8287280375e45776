"""Score meets take: which note sounded when, how high it was, and what is to be said about it."""
