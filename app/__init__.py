"""Countersight's showing side: pages, confirmation, records, command line."""
