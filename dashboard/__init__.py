"""Pages for a browser, read-only: what stands in the store, and requests back through the broker."""
