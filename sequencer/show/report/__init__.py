"""The report: one page that shows a run in any browser."""
