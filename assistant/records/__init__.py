"""The append-only log, what can be asked of it, and what is printed from it.

Knows nothing of words, sound or HTTP, and has no clock: every time comes from the caller.
"""
