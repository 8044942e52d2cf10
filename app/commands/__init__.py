"""The commands of the console script, one module each, loaded only when called."""
