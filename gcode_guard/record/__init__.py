"""What is told of a run: the diff, the log, the summary and the review page. Knows no decisions, only their results."""
