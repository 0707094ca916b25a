"""The usual cautions, in one or two lines where a step can hurt. They come before anything this tool says."""

DIPPING = (
    "Slurry is alkaline: goggles and gloves. Stucco and dried shell are silica: keep it wet or extract it, "
    "wear a fitted respirator, keep to your local exposure limit.",
)

BURNOUT = (
    "Dry through is a reckoning, not a check of the shell. At burnout: hot wax and its fumes, "
    "and steam from a damp shell. When pouring: molten metal on anything damp throws metal.",
    "Local codes, the makers’ data sheets and licensed practice come first.",
)

SHOP = (
    "This tool advises on drying. It is no safety device; it sees no cracks, thin places or wrong mixes.",
    *DIPPING,
    "Dewaxing and burnout: hot wax, fumes and steam; ventilate, and keep clear of the opening. "
    "Molten metal on anything damp throws metal.",
    "Local codes, the makers’ data sheets and licensed practice come first.",
)
