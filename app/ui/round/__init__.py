"""The parts of the page "Round": one step of the hourly work at a time."""
