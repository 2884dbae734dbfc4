"""Which fungus a fruiting body is, and how sure that is."""
