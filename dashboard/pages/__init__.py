"""One file a page: load, layout, connect."""
