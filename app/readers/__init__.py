"""Photos of many sessions in, their readings out: worker processes, first come first served."""
