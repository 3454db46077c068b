"""What the sheets say today is the first edition of each."""

from django.db import migrations


def first_editions(apps, schema_editor):
    SpecSheet, SheetEdition = apps.get_model("specs", "SpecSheet"), apps.get_model("specs", "SheetEdition")
    for sheet in SpecSheet.objects.filter(editions=None).select_related("damper_model", "vehicle_model"):
        names = ("position", "year_from", "year_to", "source_document", "source_revision", "source_page", "note",
                 "reference_k", "reference_altitude_m")  # fmt: skip
        columns = ("figures", "unit", "value_si", "low_si", "high_si", "tolerance", "page", "note")
        models_of = {"damper_model": sheet.damper_model, "vehicle_model": sheet.vehicle_model}
        content = {name: f"{one.maker} {one.name}" if one else "" for name, one in models_of.items()}
        content |= {name: getattr(sheet, name) for name in names}
        content["values"] = {
            one.measure: {column: getattr(one, column) for column in columns} for one in sheet.values.order_by("pk")
        }
        SheetEdition.objects.create(
            sheet=sheet, number=sheet.edition, by_id=sheet.entered_by_id, at=sheet.entered_at, content=content
        )


class Migration(migrations.Migration):
    dependencies = [("specs", "0008_editions")]

    operations = [migrations.RunPython(first_editions, migrations.RunPython.noop)]
