"""How much sound wood is left, and what that costs in strength."""
