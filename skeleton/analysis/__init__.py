"""What the page means: skeleton, accidentals, matches, passages; pure functions, frozen results."""
