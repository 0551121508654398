"""The database: schema, migrations and repositories."""
