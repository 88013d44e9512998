"""From a road file to a wash line: the library behind the site-to-line planner."""

__version__ = "0.1.0"
