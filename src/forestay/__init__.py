"""Forestay: decision support for the difficult cataract.

A case is a growing list of facts about one eye; estimates, options, margins and the plan are pure functions of it.
Not a medical device: every value is checked against the record and the lens box, and licensed judgement decides.
"""

__version__ = "0.1.0"
