//! What can be chosen, in the words of a job file.

use maud::{Markup, html};
use tympan_app::desk::Deck;
use tympan_app::lay::{StockSheet, View, is_picture, label};
use tympan_app::sheet::{Paper, USUAL_CARDS};
use tympan_app::store::SetUp;
use tympan_app::words;

use crate::shell::Units;

/// What can be chosen by name.
pub(super) struct Known {
    pub(super) setups: Vec<SetUp>,
    pub(super) stock_sheets: Vec<StockSheet>,
}

pub(super) fn form(deck: &Deck, view: &View, known: &Known, units: Units) -> Markup {
    let setups = &known.setups;
    let of = Choices { deck };
    let is_mm = matches!(units.0, words::Units::Mm);
    let usual = |mm, inch| if is_mm { mm } else { inch };
    html! {
        form #choices .picks {
            fieldset {
                legend { "Paper and printer" }
                (of.setup(setups))
                (of.paper(setups, view))
                (of.stock_sheet(&known.stock_sheets))
                (of.one_of("flip", &[("", "As the set-up says, else sideways"), ("sideways", "Sideways: heads together, as in a book"), ("endways", "Endways: head to foot, as in a notepad")]))
            }
            fieldset {
                legend { "Cards" }
                (of.text_with("card", usual("as they are, or 63x88mm", "as they are, or 2.5x3.5in"), Some(usual_cards())))
                (of.text("bleed", usual("3mm", "0.125in")))
                (of.one_of("bleed-by", &[("", "Mirror the picture at its edge"), ("stretch", "Draw the edge out"), ("colour", "Go on in the edge’s colour"), ("enlarge", "Enlarge the picture"), ("outwards", "Go on outwards, for round pictures"), ("keep", "Leave it")]))
                (of.one_of("standing", &[("", "As the files say, else head to head"), ("head to head", "Head to head"), ("head to foot", "Head to foot")]))
                (of.back())
            }
            details open[of.any(&["cut", "gutter", "marks", "marks-on-backs", "round-corners", "crosses", "order"])] {
                summary { "Cutting and marks" }
                (of.one_of("cut", &[("", "Straight through the sheet"), ("around", "Around each card")]))
                (of.text("gutter", "whatever is best"))
                (of.one_of("marks", &[("", "Short lines at the corners"), ("edges", "Short lines at the sheet’s edges"), ("lines", "Thin lines along the cuts"), ("none", "None")]))
                (of.switch("marks-on-backs"))
                (of.switch("round-corners"))
                (of.switch("crosses"))
                (of.one_of("order", &[("", "Cut piles give the deck in order"), ("rows", "Row by row, sheet by sheet")]))
            }
            details open[of.any(&["corners", "fit", "safe", "thicken-border", "drop-bleed", "fronts-seen", "backs-seen", "edges", "margins", "bleed-within", "pairs", "one-sided", "fold-over", "witness"])] {
                summary { "More" }
                (of.text("corners", usual("usual for the size", "usual for the size")))
                (of.one_of("fit", &[("", "Refuse them"), ("fill", "Fill the card, cut off the rest"), ("whole", "Show all, blank beside it"), ("distort", "Stretch them")]))
                (of.text("bleed-within", usual("0mm", "0in")))
                (of.text("edges", usual("bled, alike, or border 3mm", "bled, alike, or border 0.12in")))
                (of.text("safe", usual("0mm", "0in")))
                (of.text("thicken-border", "none"))
                (of.switch("drop-bleed"))
                (of.text("margins", "what the printer leaves blank"))
                (of.one_of("pairs", &[("", "As the pages speak for"), ("alternating", "Front, back, front, back"), ("fronts-then-backs", "All fronts, then all backs"), ("backs-reversed", "All fronts, then the backs in reverse"), ("one-back", "One page of backs for all"), ("fold-over", "Fronts and backs on one page"), ("one-sided", "No backs")]))
                (of.text("fronts-seen", usual("1mm low, 0.5mm left", "0.04in low, 0.02in left")))
                (of.text("backs-seen", usual("1mm low, 0.5mm left", "0.04in low, 0.02in left")))
                p.quiet { "How the print lies on the paper against its edges, looking at that side: where it matters, as on pre-cut sheets." }
                (of.switch("one-sided"))
                (of.switch("fold-over"))
                (of.switch("witness"))
            }
        }
    }
}

fn usual_cards() -> Markup {
    html! {
        datalist id="usual-cards" {
            @for card in USUAL_CARDS { option value=(card.name) {} }
            option value="circle 30mm" {}
            option value="hexagon 40mm" {}
        }
    }
}

struct Choices<'a> {
    deck: &'a Deck,
}

impl Choices<'_> {
    fn any(&self, keys: &[&str]) -> bool {
        keys.iter().any(|key| self.deck.wish.is_on(key))
    }

    fn text(&self, key: &str, usual: &str) -> Markup {
        self.text_with(key, usual, None)
    }

    fn text_with(&self, key: &str, usual: &str, list: Option<Markup>) -> Markup {
        let id = format!("choice-{key}");
        html! {
            div.pick {
                label for=(id) { (label(key)) }
                input id=(id) type="text" name=(key) value=(self.deck.wish.get(key)) placeholder=(usual) autocomplete="off"
                    list=[list.is_some().then_some("usual-cards")];
                @if let Some(list) = list { (list) }
            }
        }
    }

    fn one_of(&self, key: &str, all: &[(&str, &str)]) -> Markup {
        let chosen = self.deck.wish.get(key);
        let id = format!("choice-{key}");
        html! {
            div.pick {
                label for=(id) { (label(key)) }
                select id=(id) name=(key) {
                    @for (value, text) in all { option value=(value) selected[*value == chosen] { (text) } }
                }
            }
        }
    }

    fn switch(&self, key: &str) -> Markup {
        html! {
            label.meant {
                input type="checkbox" name=(key) checked[self.deck.wish.is_on(key)];
                span { (label(key)) }
            }
        }
    }

    fn setup(&self, setups: &[SetUp]) -> Markup {
        let names = setups
            .iter()
            .map(|setup| (setup.name.as_str(), setup.name.as_str()));
        let all: Vec<(&str, &str)> = std::iter::once(("", "None: no correction"))
            .chain(names)
            .collect();
        html! {
            (self.one_of("setup", &all))
            @if setups.is_empty() {
                p.quiet { a href="/setups/new" { "Describe your printer" } ", and the backs are corrected for it." }
            }
        }
    }

    /// A set-up has its own paper.
    fn paper(&self, setups: &[SetUp], view: &View) -> Markup {
        let chosen = self.deck.wish.get("setup");
        if let Some(setup) = setups.iter().find(|setup| setup.name == chosen) {
            return html! { p.quiet { "Paper: " (setup.paper.title()) ", as the set-up has it." } };
        }
        let papers: Vec<(String, String)> = Paper::known()
            .map(|paper| (paper.name().to_owned(), paper.title()))
            .collect();
        let wanted = self.deck.wish.get("paper").parse::<Paper>().ok();
        let whose = if self.deck.wish.is_on("stock-sheet") {
            "That of the pre-cut sheet"
        } else {
            "That of the file"
        };
        let own = if view.paper.is_empty() {
            whose.to_owned()
        } else {
            format!("{whose} ({})", view.paper)
        };
        html! {
            div.pick {
                label for="choice-paper" { (label("paper")) }
                select #choice-paper name="paper" {
                    option value="" selected[wanted.is_none()] { @if wanted.is_none() { (own) } @else { (whose) } }
                    @for (name, title) in &papers {
                        option value=(name) selected[wanted.as_ref().is_some_and(|paper| paper.name() == name)] { (title) }
                    }
                }
            }
        }
    }

    fn stock_sheet(&self, sheets: &[StockSheet]) -> Markup {
        let names = sheets
            .iter()
            .map(|sheet| (sheet.name.as_str(), sheet.name.as_str()));
        let all: Vec<(&str, &str)> = std::iter::once(("", "None: plain paper"))
            .chain(names)
            .collect();
        html! {
            @if !sheets.is_empty() { (self.one_of("stock-sheet", &all)) }
        }
    }

    /// Any of the pictures may be the back of all cards that have none.
    fn back(&self) -> Markup {
        let names: Vec<&str> = self
            .deck
            .files
            .iter()
            .map(|file| file.name.as_str())
            .filter(|name| is_picture(name))
            .collect();
        let all: Vec<(&str, &str)> = std::iter::once(("", "None"))
            .chain(names.iter().map(|name| (*name, *name)))
            .collect();
        html! { @if !names.is_empty() { (self.one_of("back", &all)) } }
    }
}
