"""A seed in, labelled photos with exact truth out."""
