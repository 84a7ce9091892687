"""Reporters: pure functions of a report.

A reporter asks nothing that is not in the report: no clock, no environment, no file, no terminal.  Whatever a user
wrote passes through the neutraliser of its output format before it is laid out.
"""
