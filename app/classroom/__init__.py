"""A class that predicts together: a code to join, answers without names, figures of the whole.

Comes in: a seed and what learners answer on their phones.  Goes out: a histogram, spread, bias
and causes, a table.  A class is no record; its answers are deleted when it ends.
"""
