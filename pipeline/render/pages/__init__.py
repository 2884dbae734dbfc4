"""One module a page; each has `write(context)` and returns the files it wrote."""
