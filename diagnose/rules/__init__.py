"""The checker: one small function a rule, found by its code."""
