"""Three faces of the same walk: they turn a screen into marks and a key into a reply."""
