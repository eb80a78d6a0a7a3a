"""Tests; a package, so that no installed package called `tests` takes its place."""
