"""The report of a job: gathered from the journal, put into words, and printed as HTML and PDF."""
