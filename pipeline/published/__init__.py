"""Published values: tables with a source in every row, looked up within their range only."""
