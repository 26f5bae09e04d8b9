"""Library files: YAML with places, and what the four kinds of file mean."""
