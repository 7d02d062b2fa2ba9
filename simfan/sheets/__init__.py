"""Sheets to type a control system from: rows of words, made of a case and of what was found.

Pure: nothing here runs anything. Every row has a line number, every cell is filled or "n/a" with
its reason, and cells that a person types in know where in the scenario they stand.
"""
