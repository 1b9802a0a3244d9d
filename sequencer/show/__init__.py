"""What people see: diagrams, findings, runs, plans, folders."""
