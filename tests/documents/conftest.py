import pytest


@pytest.fixture(autouse=True)
def store(settings, tmp_path):
    """Where papers are kept: a folder of this test's own."""
    settings.STORAGES = settings.STORAGES | {
        "default": {
            "BACKEND": "django.core.files.storage.FileSystemStorage",
            "OPTIONS": {"location": tmp_path / "media"},
        }
    }
    return tmp_path / "media" / "documents"
