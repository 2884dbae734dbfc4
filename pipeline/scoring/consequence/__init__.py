"""What an impact would do, as a word and as expected harm."""
