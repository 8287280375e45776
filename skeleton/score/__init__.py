"""What the page says: the typed model, the MusicXML reader, other formats by conversion."""
