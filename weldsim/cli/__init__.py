"""The command line: one module a verb, loaded when its verb is called."""
