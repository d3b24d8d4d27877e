"""A store's disk that has no room: SQLite itself refuses another page, as it does when the disk is full."""


def allow_pages(store, count):
    store._connection.execute(f"PRAGMA max_page_count = {count}")


def fill_up(store):
    allow_pages(store, store._connection.execute("PRAGMA page_count").fetchone()[0])
