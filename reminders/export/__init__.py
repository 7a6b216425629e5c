"""Everything about one patient as a file to hand over: a page to read, tables, and a FHIR bundle."""
