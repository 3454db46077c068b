from whitenoise.storage import CompressedManifestStaticFilesStorage


class StaticStorage(CompressedManifestStaticFilesStorage):
    """Hashed and compressed static files; the names in the import lines of ES modules are hashed too."""

    support_js_module_import_aggregation = True
