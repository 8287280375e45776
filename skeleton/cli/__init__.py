"""The command line: a thin layer over the package, and the only place that prints."""
