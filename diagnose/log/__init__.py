"""The case log: typed events, where they are kept, and what they say of a case or a machine."""
