from django.core.management import call_command


def test_no_migration_is_missing(db):
    """makemigrations --check ends the process when a model and its migrations differ."""
    call_command("makemigrations", check=True, dry_run=True, verbosity=0)
