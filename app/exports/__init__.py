"""The record in forms for others: a table, FHIR, a hand-over sheet.  Confirmed entries only."""
