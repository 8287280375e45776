"""Practice tracks: a passage as a schedule of sounds, as audio or MIDI."""
