"""From evidence to ratings and candidate actions; each subject is pure functions on arrays."""
