"""The cautions that stand beside the check before burnout, on the page, on the sheet and over the wire."""

BURNOUT_CHECK = (
    "Silica: cutting the rim and vents open makes dust that scars the lungs for good. Cut wet, wear a fitted "
    "respirator, never dry-sweep.",
    "Wax: it flares and fumes at burnout. Ventilate, stay out of the flare, no water on burning wax.",
    "Water: a damp shell, patch or core makes steam; it bursts in the furnace and explodes under metal.",
    "This check is of dryness as reckoned from the air, not of the shell. Local codes, the makers’ data "
    "sheets and trained, licensed practice come first.",
)
