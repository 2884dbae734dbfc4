"""What could be done to a tree, who may do it, when, and what would be left."""
