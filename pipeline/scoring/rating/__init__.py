"""From words to ratings: the published matrices, the points scheme, the worst pair of a tree."""
