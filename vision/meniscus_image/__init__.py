"""A fitted scale in, the probability of the liquid level along the wall out."""
