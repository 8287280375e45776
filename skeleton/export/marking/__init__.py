"""What is written beside the notes, and into a copy of the score."""
