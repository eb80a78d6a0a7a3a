"""Thirdhand: a hands-free assistant for the technician at the door."""

__version__ = "0.1.0"
