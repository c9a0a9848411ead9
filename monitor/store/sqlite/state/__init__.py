"""What is kept beside the readings: alarms, outbox, journal, set-up, tokens.

Every function takes an open connection: the one of ``Database.transaction()`` to write, so that
what belongs together commits together, or that of ``Database.reading()`` to look.
"""
