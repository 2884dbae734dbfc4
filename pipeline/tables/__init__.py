"""Tables: what they are (schema), which there are (catalogue), where they lie (store)."""
