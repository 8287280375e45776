"""How high each note is to sound, what to check it against, and which strings answer it."""
