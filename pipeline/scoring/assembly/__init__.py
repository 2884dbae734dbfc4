"""Between tables and maths: columns become arrays, results become columns; no rule of the trade."""
