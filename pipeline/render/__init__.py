"""Pages, sheets and files that people open; every one is true, offline and whole or not there."""
