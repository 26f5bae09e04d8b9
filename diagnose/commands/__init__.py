"""One module a verb: parse, call, print."""
