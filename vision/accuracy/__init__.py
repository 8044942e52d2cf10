"""The tester's bench: reading accuracy on labelled images, as evidence."""

from vision.accuracy.labels import Label, read_labels
from vision.accuracy.rows import Row, read_rows
from vision.accuracy.runner import run_benchmark, run_sets
from vision.accuracy.summary import Summary

__all__ = ["Label", "Row", "Summary", "read_labels", "read_rows", "run_benchmark",
           "run_sets"]
