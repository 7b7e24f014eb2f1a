"""The farm file changed edit by edit: what is written, what it differs in, what it loosens."""
