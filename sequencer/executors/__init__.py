"""What runs a plan: the readable executor and the generated code."""
