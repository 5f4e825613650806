"""Run the migrations in the transaction that is open."""

from alembic import context

if hasattr(context, "config"):
    context.configure(connection=context.config.attributes["connection"], render_as_batch=True)
    context.run_migrations()
