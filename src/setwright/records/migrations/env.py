"""What Alembic runs around the steps: on the connection it is given, inside the transaction that is open there."""

from alembic import context

from setwright.records.tables import METADATA

connection = context.config.attributes["connection"]
context.configure(
    connection=connection,
    target_metadata=METADATA,
    render_as_batch=connection.dialect.name == "sqlite",
    transactional_ddl=True,
)
context.run_migrations()
