"""A take judged, as something to look at: curves of pitch, a sheet of paper, a page with sound."""
