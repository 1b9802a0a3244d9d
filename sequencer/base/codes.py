"""The registry of codes: each finding's code, and what `explain`, the documentation and SARIF say about it.

Every `codes_*` module holds a tuple ``CODES``; here they are joined. Nothing heavy is imported.
"""
