"""How Alembic reaches the store: on the connection that matdb hands over, else on `-x store=...`.

A developer writes a new revision with:
    alembic -x store=some.sqlite revision --autogenerate --rev-id 0002 -m "Say what changes"
and then reads every line of it.
"""

from alembic import context

from matdb.store.models import Base


def run(connection):
    if connection.dialect.name == "sqlite":
        # A rebuilt table is renamed under the views that read it.
        connection.exec_driver_sql("PRAGMA legacy_alter_table = ON")
    context.configure(
        connection=connection,
        target_metadata=Base.metadata,
        render_as_batch=True,
        compare_type=True,
        # SQLite rolls back schema changes too, once a transaction is really open.
        transactional_ddl=True,
        transaction_per_migration=False,
    )
    with context.begin_transaction():
        context.run_migrations()


given = context.config.attributes.get("connection")
if given is not None:
    run(given)
else:
    from matdb.store.location import locate
    from matdb.store.transaction import make_engine, writing

    place = locate(context.get_x_argument(as_dictionary=True)["store"])
    with writing(make_engine(place, 5.0, create=True), place, 5.0, foreign_keys=False) as opened:
        run(opened)
