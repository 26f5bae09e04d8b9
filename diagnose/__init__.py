"""A fault-diagnosis assistant for ride-on floor scrubbers."""

__version__ = "0.1.0"
