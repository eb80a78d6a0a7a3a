"""Formulas with units, valid range and source, one file a subject.

Importing the package fills `CALCULATORS`. Nothing in here knows of steps, words or storage.
"""

from assistant.calc import conductors, dead, earth, insulation, supply, travel
from assistant.calc.base import CALCULATORS, Calculator, Input, Result, calculate, calculator

__all__ = [
    "CALCULATORS",
    "Calculator",
    "Input",
    "Result",
    "calculate",
    "calculator",
    "conductors",
    "dead",
    "earth",
    "insulation",
    "supply",
    "travel",
]
