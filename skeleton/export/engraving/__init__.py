"""Pictures: the engraver in its process, finished SVG and PNG."""
