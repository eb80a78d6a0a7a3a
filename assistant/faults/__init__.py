"""From what is seen at a door to its cause: a guide as data and plain Bayes over its tables.

Nothing in here reads a clock, a file handle that isn't named by the caller, or the network, and
nothing in here ever proposes to bridge a safety device.
"""
