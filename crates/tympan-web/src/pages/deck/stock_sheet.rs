//! Pre-cut sheets of the user's own: their measures.

use maud::{Markup, html};
use tympan_app::words;

use crate::shell::Units;

/// A place to write them down.
pub(super) fn define(units: Units) -> Markup {
    let is_mm = matches!(units.0, words::Units::Mm);
    let usual = |mm, inch| if is_mm { mm } else { inch };
    let fields = [
        ("name", "What you call it", "Ten to a sheet"),
        ("sheet", "The sheet", usual("a4", "letter")),
        (
            "shape",
            "What falls out of one place",
            usual("85x54mm", "3.5x2in"),
        ),
        ("columns", "Side by side", "2"),
        ("rows", "Above each other", "5"),
        (
            "left",
            "From the left edge to the first",
            usual("15mm", "0.75in"),
        ),
        (
            "top",
            "From the top edge to the first",
            usual("13.5mm", "0.5in"),
        ),
        (
            "pitch-x",
            "From one’s left to the next one’s left",
            "empty where they touch",
        ),
        (
            "pitch-y",
            "From one’s top to the next one’s top",
            "empty where they touch",
        ),
    ];
    html! {
        section #own-sheet aria-labelledby="own-sheet-title" {
            h2 #own-sheet-title { "Pre-cut sheets" }
            details {
                summary { "Measure a perforated or die-cut sheet" }
                p { "Lay a ruler on an empty sheet, the way round that it goes into the printer, and write down what it reads. Measure across several places and divide: so the error of the ruler is divided, too." }
                form #own-sheet-form .own-sheet {
                    @for (name, label, usual) in fields {
                        label { span { (label) } input type="text" name=(name) placeholder=(usual) autocomplete="off"; }
                    }
                    button.button type="submit" { "Keep this sheet" }
                }
                p #own-sheet-said role="status" {}
            }
        }
    }
}
