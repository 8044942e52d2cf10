"""The script that the page server runs, apart from the folder of pages, which it would
otherwise take for pages of its own kind."""
