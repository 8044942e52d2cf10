"""The parts of the page "Ward": one line a bed, the count in the tab's title, what tells."""
