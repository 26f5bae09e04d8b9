"""Readings that compute: from what is measured at the machine to what it means.

Imports nothing of the project outside itself; `registry` is the way in.
"""
