"""What each kind of list means for the record: planned first, then written, both in bulk."""
