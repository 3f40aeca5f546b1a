"""Taking a studio's records out: every table as a list, the whole studio as a zip, and bringing that back."""
