"""From an etude full of accidentals to its skeleton."""
