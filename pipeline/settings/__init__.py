"""Settings: what a city says in its TOML file, checked and frozen."""
