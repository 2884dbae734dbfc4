"""Who drives where in what order: a problem as plain arrays, two ways to answer it, one check.

`solve.solve` asks the routing library where it is installed and its own insertion where it is not,
and says which; `check.check` works through an answer again without trust in either.
"""
