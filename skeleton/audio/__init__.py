"""Sound in and out: tones, drones, files. It knows frequencies and seconds, and no score."""
