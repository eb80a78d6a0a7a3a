"""Transcript to input, outcome to sentence, by the prowords.

No sound, no engines, no SQL, no HTTP, no clock in here; every word lives in `en.yaml`.
"""
