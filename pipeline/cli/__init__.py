"""The command line: verbs over the stages; knows nothing that the library does not."""
