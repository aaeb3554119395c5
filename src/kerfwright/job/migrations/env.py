"""Runs the steps on the connection it is given; started by Alembic, never imported."""

from alembic import context

from kerfwright.job.sql_schema import METADATA, VERSION_TABLE

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=METADATA,
    version_table=VERSION_TABLE,
    # SQLite takes a change of tables back like any other, so all steps are done or none.
    transactional_ddl=True,
)
with context.begin_transaction():
    context.run_migrations()
