"""The rebuild procedure a new shop begins with. Data, which the shop edits; in our own words from common practice."""

from django.db import migrations

GAS = (
    "Stored gas. Eye protection on. Point the valve and every end cap away from people, nobody in line with them. "
    "Draining the oil does not let the gas out."
)
STEPS = [
    # stage, title, text, caution, reading, as left, critical, needs IFP
    ("Receive", "Identify, tag, wash, photograph",
     "Tag on the damper and on its bag. The settings as found are on the card: compare them with the damper before it is touched.",
     "No manual for this exact unit, no work: the maker's current service manual prevails over anything shown here.",
     "", False, False, False),
    ("Strip", "Take the spring off",
     "Note the order and side of every ring, spacer and keeper. Adjusters fully out before work.",
     "Stored spring energy. Use a compressor made for this spring, hooks opposite each other, its axis away from face and body.",
     "", False, False, False),
    ("Strip", "Vent the nitrogen and prove zero pressure",
     "Let the gas out through the valve, slowly. Press the core once more; push the shaft in by hand: it must stay in.",
     GAS + " A seized floating piston can hold pressure although the gauge says zero: treat any unexplained resistance as pressure. "
     "No ring, cap or valve is loosened before a second person agrees that the pressure is zero.",
     "", False, True, False),
    ("Strip", "Open, drain, lay out",
     "Cap, seal head, shaft. Keep the parts of this damper in its own tray. Oil by volume and look into the used-oil log.",
     "Used oil into the marked container, by local rules. No hand over a leak: oil under pressure goes through skin.",
     "", False, False, False),
    ("Inspect", "Clean and inspect",
     "Shaft straight, chrome whole; bore not scored; bushing coating whole; shims in order, none bent or cracked; bearings; reservoir bore.",
     "Solvent: gloves, fresh air, no flame or spark near, data sheet at hand. Compressed air below 30 psi, with eye protection, never on skin.",
     "", False, False, False),
    ("New seals", "Fit the seal kit",
     "Old and new laid side by side: sizes that look alike differ. Shaft seal with its open side to the oil pressure, wiper lip outward. All greased.",
     "", "", False, False, False),
    ("Build the shaft", "Stack in the recorded order",
     "Bumper, seal head, spacer, shims and piston as recorded, washer on top. Thread-locker on a clean, dry thread.",
     "", "", False, False, False),
    ("Build the shaft", "Tighten the shaft nut",
     "Shaft held in soft jaws. Pull the wrench smoothly, hand on its grip; correct the setting for any extension.",
     "Too little lets the nut go in the field, too much breaks the shaft. Never under charge. A second person checks value and wrench.",
     "shaft_nut_torque", False, True, False),
    ("Fill and bleed", "Fill",
     "Adjuster fully open. Note the volume that goes in.",
     "Only the oil of the card. Wipe up what is spilt at once.",
     "oil_volume", False, False, False),
    ("Fill and bleed", "Work the air out",
     "Shaft in, short strokes, taps to free the stack; keep the piston under oil. Top up; close the seal head with no air under it.",
     "", "", False, False, False),
    ("IFP depth", "Set the IFP depth",
     "Shaft fully extended. Measure from the reservoir's rim to the face of the IFP, then close the bleed port.",
     "Too shallow and the piston meets the cap at full stroke.",
     "ifp_depth", False, False, True),
    ("Charge", "Charge with nitrogen",
     "Cap and ring seated. Shaft not pulled out again before charging. Note the bench temperature.",
     "Nitrogen only: never oxygen, air or a flammable gas. Regulator, hose and gauge rated for it; open slowly; never above the maker's maximum. "
     "Damper clamped so that the shaft can shoot out without hitting anyone. Ventilate: nitrogen suffocates without a smell. "
     "Nothing is tightened or loosened from here on.",
     "charge", False, True, False),
    ("Prove", "Prove it",
     "Compress fully and let it extend by itself: all the way out, smoothly, no dead spot, no leak. Otherwise vent it and open it again.",
     "Hands and face out of the line of the shaft.", "", False, False, False),
    ("Refit", "Refit the spring, settings as left",
     "Preload and clicks back to as found, or as agreed with the customer. Mounting bolts to the vehicle maker's torque.",
     "Stored spring energy. Vehicle on rated stands, not on a jack.", "", True, False, False),
]  # fmt: skip


def add(apps, schema_editor):
    Procedure, Step = apps.get_model("specs", "Procedure"), apps.get_model("specs", "Step")
    procedure, new = Procedure.objects.get_or_create(name="Rebuild", version=1, defaults={"current": True})
    if not new:
        return
    for number, (stage, title, text, caution, reading, as_left, critical, needs_ifp) in enumerate(STEPS, 1):
        Step.objects.create(
            procedure=procedure, number=number, stage=stage, title=title, text=text, caution=caution,
            reading=reading, as_left=as_left, critical=critical, needs_ifp=needs_ifp,
        )  # fmt: skip


class Migration(migrations.Migration):
    dependencies = [("specs", "0002_one_answer")]

    operations = [migrations.RunPython(add, migrations.RunPython.noop)]
