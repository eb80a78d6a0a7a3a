"""Formulas with units, valid range and source, one file a subject.

Importing the package fills `CALCULATORS`. Nothing in here knows of steps, words or storage.
"""

from assistant.calc import beams, conductors, dead, earth, force, insulation, supply, travel
from assistant.calc.base import CALCULATORS, Calculator, Input, Result, calculate, calculator

__all__ = [
    "CALCULATORS",
    "Calculator",
    "Input",
    "Result",
    "beams",
    "calculate",
    "calculator",
    "conductors",
    "dead",
    "earth",
    "force",
    "insulation",
    "supply",
    "travel",
]
