"""The way out of the house: outbox sender over SMTP."""
