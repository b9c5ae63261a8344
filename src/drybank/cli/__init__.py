"""The terminal: Typer commands over the desk.

main      the app, exit codes, faults as sentences
commands  the list of command modules
say       lines, tables, JSON, progress
options   options worded once
*.py      one module a command or a family of commands
"""
