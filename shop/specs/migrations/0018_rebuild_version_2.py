"""The default procedure once more: tools in words, the leak check, what is noted when it is opened, and closing.

It follows version 1 only where the shop still works by that as it came; what a shop has made its own is left alone.
"""

from importlib import import_module

from django.db import migrations
from django.utils import timezone

SHIPPED = import_module("shop.specs.migrations.0003_default_procedure").STEPS
WITH_IFP = ["reservoir", "internal"]
STEPS = [
    # stage, title, text, tools
    ("Receive", "Identify, tag, wash, photograph",
     "Tag on the damper and on its bag. Wash it with the valve cap on; photograph it from both sides. Look for leaks and "
     "damage, and read what the customer says. The settings as found are on the card: compare them with the damper "
     "before it is touched.",
     "tag, camera"),
    ("Strip", "Take the spring off",
     "Turn each adjuster fully in, counting the clicks once more, then fully out before work. Measure the preload again. "
     "Note the order and side of every ring, spacer and keeper.",
     "spring compressor made for this spring"),
    ("Strip", "Vent the nitrogen and prove zero pressure",
     "Let the gas out through the valve, slowly. Press the core once more; push the shaft in by hand: it must stay in.",
     "eye protection, valve tool, clamp"),
    ("Strip", "Open, drain, lay out",
     "Cap first. Where there is an IFP, measure its depth as found from the reservoir's rim, before it is moved, and note "
     "it on the card. Then seal head and shaft. Keep the parts of this damper in its own tray. Oil drained by volume and "
     "look (clean, dark, metallic, watery), onto the card and into the used-oil log.",
     "soft jaws, depth tool, drain pan with a scale"),
    ("Clean and inspect", "Clean and inspect",
     "Shaft straight, chrome whole: worn through means replace, light nicks may be polished out. Body bore not scored, "
     "its coating whole; bushing coating whole; shims in order, none bent or cracked; bearings; reservoir bore. Each "
     "finding is fit for use, fit after refinishing, or replace. A replacement adds parts: tell the front desk before "
     "going on, since the customer has to agree to another price.",
     "lint-free cloth, V-blocks and dial gauge"),
    ("New seals", "Fit the seal kit",
     "Seal head: inner O-ring by the bushing, shaft seal with its open side to the oil pressure, wiper lip outward, outer "
     "O-ring. Then piston band, ring of the IFP, O-rings of bleed screw, cap and adjusters. Old and new laid side by "
     "side: sizes that look alike differ. All greased.",
     "seal tools without edges, seal grease"),
    ("Build the shaft", "Stack in the recorded order",
     "Bumper, seal head, spacer, shims and piston as recorded, washer on top. Thread-locker on a clean, dry thread.",
     "soft jaws, thread-locker"),
    ("Build the shaft", "Tighten the shaft nut",
     "Shaft held in soft jaws. Pull the wrench smoothly, hand on its grip; correct the setting for any extension.",
     "soft jaws"),
    ("Fill and bleed", "Fill",
     "Adjuster fully open. Fill from the reservoir side; the IFP, where there is one, goes in with its bleed port open and "
     "is kept under oil. Note the volume that goes in.",
     "measuring beaker"),
    ("Fill and bleed", "Work the air out",
     "Shaft in, short strokes, taps to free the stack; keep the piston under oil. Top up; close the seal head with no air "
     "under it.",
     "soft jaws, plastic hammer"),
    ("IFP depth", "Set the IFP depth",
     "Shaft fully extended. Measure from the reservoir's rim to the face of the IFP, then close the bleed port.",
     ""),
    ("Charge", "Charge with nitrogen",
     "Cap and ring seated. Shaft not pulled out again before charging. Note the bench temperature.",
     "nitrogen regulator and hose, clamp"),
    ("Prove it", "Prove it",
     "Leak check: soap water on valve, cap and seal head, no bubbles. A gauge that is put on again takes gas into itself "
     "and reads lower: that is no leak. Then compress fully and let it extend by itself: all the way out, smoothly, no "
     "dead spot. Otherwise vent it and open it again.",
     "soap water"),
    ("Refit", "Refit the spring, settings as left",
     "Preload and clicks back to as found, or as agreed with the customer. Mounting bolts to the vehicle maker's torque. "
     "A last photo.",
     "spring compressor, torque wrench for the mounting bolts, camera"),
    ("Close", "Compare, bag, lay ready",
     "Compare the parts that were used with those that were picked; what is left goes back to its bin. Old parts into the "
     "damper's bag for the customer. Tell the front desk what the customer has to know: findings, and when the next "
     "service is due.",
     ""),
]  # fmt: skip
PRESSURE = {3: "proven", 4: "opened"}


def add(apps, schema_editor):
    Procedure, Step = apps.get_model("specs", "Procedure"), apps.get_model("specs", "Step")
    first = Procedure.objects.filter(name="Rebuild", version=1, current=True).first()
    if first is None or not as_it_came(first) or Procedure.objects.filter(name="Rebuild").exclude(pk=first.pk).exists():
        return
    second = Procedure.objects.create(name="Rebuild", version=2, copied_from=first)
    for number, (stage, title, text, tool) in enumerate(STEPS, 1):
        caution, reading, as_left, critical, needs_ifp = ("", "", False, False, False)
        if number <= len(SHIPPED):
            caution, reading, as_left, critical, needs_ifp = SHIPPED[number - 1][3:]
        Step.objects.create(
            procedure=second, number=number, origin=number, stage=stage, title=title, text=text, caution=caution,
            tool=tool, reading=reading, as_left=as_left, critical=critical, pressure=PRESSURE.get(number, ""),
            constructions=WITH_IFP if needs_ifp else [], cap_styles=[],
        )  # fmt: skip
    Procedure.objects.filter(pk=first.pk).update(current=False)
    Procedure.objects.filter(pk=second.pk).update(
        current=True, made_current_at=timezone.now(), why="came with Damperbook"
    )


def as_it_came(procedure):
    """Whether its steps are those of version 1 as it was shipped."""
    columns = ("stage", "title", "text", "caution", "reading", "as_left", "critical", "constructions")
    came = [(*row[:7], WITH_IFP if row[7] else []) for row in SHIPPED]
    return list(procedure.steps.order_by("number").values_list(*columns)) == came


class Migration(migrations.Migration):
    dependencies = [("specs", "0017_frozen_procedures")]

    operations = [migrations.RunPython(add, migrations.RunPython.noop)]
