"""Parts of the script that writes the invented town of Larkmere."""
