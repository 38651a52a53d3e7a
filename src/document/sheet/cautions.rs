//! What may hurt somebody, and who has the last word on it.

/// Who has the last word: stands above the cautions.
pub const FIRST: &str = "The safety data sheet of each product, your local rules and licensed \
                         practice come before anything printed here.";

/// Cautions: what it is about, and what is said.
pub const CAUTIONS: [(&str, &str); 8] = [
    (
        "Hardeners",
        "Chromium salts can make skin allergic and harm water; aldehydes give off vapour that \
         harms eyes and lungs. Mix and use them only as their data sheet says.",
    ),
    (
        "Acids",
        "Acid goes into water, never water into acid. Keep stop bath, fixer and hardener apart \
         unless their sheets allow the mixture.",
    ),
    (
        "Fixer",
        "Fixer with acid, and old fixer, give off sulphur dioxide: bad for asthma. Cover the \
         trays.",
    ),
    (
        "Gloves and eyes",
        "Gloves of the kind the data sheet names, tongs, eye protection, an apron. Rinse \
         splashes at once and for as long as the sheet says.",
    ),
    (
        "Air and children",
        "Air that leaves the house, not a fan that stirs it. No food or drink. Children and \
         animals stay out; bottles are labelled and locked away.",
    ),
    (
        "Disposal",
        "Fixer holds silver, hardener chromium or aldehyde: not down the drain unless your \
         local rules allow it. Ask the place that takes household chemicals.",
    ),
    (
        "Mains and heaters",
        "Enlarger, lamps, heaters and their cables away from water and wet hands, behind a \
         residual-current switch. Wiring is for a licensed electrician.",
    ),
    (
        "Stone and cement dust",
        "Flatten slate, stone or cement wet or outdoors, with the mask and extraction that the \
         rules on silica dust ask for. Never sweep it dry.",
    ),
];
