"""Does what is left hold in the winds of this place, and how sure is anyone."""
