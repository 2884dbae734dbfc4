"""From a city's files to clean tables: every row accepted or set aside with a reason."""
