"""The words beside the fields of the forms."""

from __future__ import annotations

#: Field -> its label.
LABELS: dict[str, str] = {
    "cut.speed": "Spindle speed",
    "cutter.teeth": "Teeth",
    "cutter.name": "Name of the cutter",
    "cutter.form": "Form of cutter",
    "cutter.diameter": "Cutter diameter",
    "cutter.width": "Cutter width",
    "cutter.material": "Cutter made of",
    "cutter.side_relief": "Sides relieved",
    "cutter.max_speed": "Greatest speed marked on it",
    "cutter.reground": "Reground",
    "cutter.collar_diameter": "Collar diameter",
    "cutter.helix": "Helix of a slab mill",
    "cutter.pitch": "Tooth pitch of a band-saw blade",
    "cut.material": "What is being cut",
    "cut.depth": "Depth of cut",
    "cut.width": "Width of cut",
    "cut.length": "Length of cut",
    "cut.feed": "Table feed",
    "cut.chip_load": "Or chip load",
    "cut.direction": "Milling direction",
    "cut.work_diameter": "Diameter that is cut (lathe)",
    "cut.overhang": "How far the tool stands out",
    "cut.blade_speed": "Blade speed (band saw)",
    "cut.observed": "Earlier cuts with this set-up",
    "machine.name": "Name of the machine",
    "machine.speeds": "Its spindle speeds",
    "machine.feeds": "Its table feeds",
    "machine.mains": "Mains frequency",
    "machine.motor_power": "Motor power",
    "machine.motor_poles": "Motor poles",
    "machine.arbors": "Arbors",
    "machine.backlash": "Play in the table screw",
    "machine.gears": "Gears of the drive",
    "machine.bearings": "Rolling bearings",
    "take.simulated": "Simulated sound",
}


def missing_words(name: str) -> str:
    """What is said of a field that was left empty."""
    what = "The number of teeth" if name == "cutter.teeth" else LABELS[name]
    return f"{what} is missing: fill it in."


#: Field -> help beside it.
HELP: dict[str, str] = {
    "cut.speed": "As on the dial. Empty: the sound is asked which of the machine's speeds it was.",
    "cutter.teeth": "A turning or boring tool has 1.",
    "cut.observed": "One a line: '12 mm at 57 rev/min chattered', or '... quiet'.",
    "machine.speeds": "All of them: 38, 57, 85, 127.",
    "machine.feeds": "All of them: 20, 31.5, 50.",
    "machine.arbors": "Diameters you have.",
    "machine.backlash": "With play, climb milling can pull the work in.",
    "machine.gears": "One a line: name, teeth, turns per spindle turn.",
    "machine.bearings": "One a line: name, balls, ball diameter, pitch diameter.",
    "machine.mains": "50 or 60, as on the motor's plate.",
    "cutter.side_relief": "Hollow ground or backed off at the sides.",
    "cutter.diameter": "Over the teeth; of a boring bar the bar.",
    "cutter.helix": "25 deg; empty: straight teeth.",
    "cutter.pitch": "10 tpi, or a length.",
    "cut.work_diameter": "Turning: the work. Boring: the bore. Not the tool.",
    "cut.width": "Of a saw: its own width.",
    "cutter.collar_diameter": "Of the collars or spacers beside the cutter.",
    "cut.depth": "A fraction does too: 1/2.",
    "cut.direction": "Conventional: teeth run against the feed. Climb: with it.",
    "cut.chip_load": "In place of the feed.",
    "take.simulated": "Made by a computer, not by a machine: the report says so.",
}

#: Choice -> words.
WORDS: dict[str, str] = {
    "slitting_saw": "slitting saw",
    "side_and_face": "side and face",
    "staggered_tooth": "staggered tooth",
    "slab": "slab (plain) mill",
    "end_mill": "end mill",
    "face_mill": "face mill",
    "fly_cutter": "fly cutter",
    "single_point": "turning tool (single point)",
    "boring_bar": "boring bar",
    "parting_tool": "parting tool",
    "drill": "drill",
    "reamer": "reamer",
    "band_saw": "band saw",
    "hss": "high-speed steel",
    "carbide": "carbide",
    "carbon_steel": "carbon steel",
    "conventional": "up (conventional)",
    "climb": "down (climb)",
    "roughing": "roughing",
    "finishing": "finishing",
}
