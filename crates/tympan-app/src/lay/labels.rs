//! What the page calls the options of a job.

/// Keys of a job file with the labels of their fields.
const LABELS: [(&str, &str); 31] = [
    ("card", "Card size"),
    ("corners", "Corner radius"),
    ("bleed", "Bleed"),
    ("bleed-by", "Where bleed is missing"),
    ("bleed-within", "Bleed that the pictures have"),
    ("fit", "Pictures of other proportions"),
    ("edges", "Cards show at their edges"),
    ("setup", "Set-up"),
    ("paper", "Paper"),
    ("flip", "The sheet is turned over"),
    ("margins", "Margins"),
    ("gutter", "Blank between cards"),
    ("cut", "Cutting"),
    ("marks", "Marks"),
    ("marks-on-backs", "Marks on the backs too"),
    ("round-corners", "Show where to round corners"),
    ("standing", "Backs stand"),
    ("back", "Back of cards that have none"),
    ("one-sided", "Print fronts only"),
    (
        "fold-over",
        "Fold over: front and back on one face, to be folded and glued",
    ),
    ("crosses", "Alignment crosses for a cutting machine"),
    ("safe", "Nothing that matters is nearer to the cut than"),
    ("thicken-border", "Border painted around each card"),
    ("drop-bleed", "Make bleed anew, over old crop marks"),
    ("stock-sheet", "Pre-cut sheet"),
    ("fronts-seen", "Fronts sit on the sheet"),
    ("backs-seen", "Backs sit on the sheet"),
    ("witness", "Witness marks, to read finished sheets by"),
    ("order", "Order on the sheets"),
    ("pairs", "Pages of a PDF are paired"),
    ("plan", "Plan"),
];

/// What the page calls an option, by its key in a job file.
pub fn label(key: &str) -> &'static str {
    let known = LABELS.iter().find(|(known, _)| *known == key);
    known.map_or("", |(_, label)| label)
}

/// Words that name options of a job as the command line has them, as the page has them.
pub(crate) fn options_as_labels(text: &str) -> String {
    let mut words = text.to_owned();
    // Those that others begin with come last.
    let mut by_length = LABELS;
    by_length.sort_by_key(|(key, _)| std::cmp::Reverse(key.len()));
    for (key, label) in by_length {
        words = words.replace(&format!("--{key}"), &format!("“{label}”"));
    }
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn options_are_called_as_the_page_calls_them() {
        assert_eq!(
            options_as_labels("say less with --bleed-within, or more with --bleed 2mm"),
            "say less with “Bleed that the pictures have”, or more with “Bleed” 2mm"
        );
    }
}
