"""The server mode: accounts, sessions, roles and a log of access around the pages, for a school. Off by default.

Without it there are no accounts: pages are served on loopback to the one user of the machine.
"""
