"""How the migrations reach the database. Run by the migration library, never imported."""

from alembic import context

from watchdog.recorder.database import writing_engine

engine = writing_engine(context.config.attributes["url"])
with engine.connect() as connection:
    # SQLite can undo changes of tables like any other change, which the library does not take for granted.
    context.configure(connection=connection, transactional_ddl=True, transaction_per_migration=False)
    with context.begin_transaction():
        context.run_migrations()
engine.dispose()
