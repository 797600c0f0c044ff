"""What the book knows; nothing in here draws or listens.

From the ground up, and imports only ever point down this list:

``sentences``   every sentence that is said to a person, by its key
``errors``, ``units``, ``settings``   situations, units, settings
``values``      frozen dataclasses: asset, job, limit set
``maths``       one job: judgement, geometry, readings, feet
``history``     many jobs: runs, returns, counts, drift
``tables``      tables as classes
``ledger``, ``intake``, ``store``     the book's entries; files in; the only SQL
``commands``    one verb a file: the only way in
"""
