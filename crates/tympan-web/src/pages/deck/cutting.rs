//! How the sheets of the chosen plan are cut, and how the piles come together.

use maud::{Markup, PreEscaped, html};
use tympan_app::desk::Deck;
use tympan_app::lay::{CUTTING_CAUTIONS, CutsView, PlanView, View};

use crate::pages::counted;
use crate::shell::Units;

pub(super) fn cutting(deck: &Deck, view: &View, units: Units) -> Markup {
    // On pre-cut sheets there is nothing to cut.
    let plan = view
        .plans
        .get(deck.plan())
        .filter(|plan| !plan.said.pre_cut);
    html! {
        section #cutting aria-labelledby="cutting-title" hidden[plan.is_none()] {
            @if let Some(plan) = plan {
                h2 #cutting-title { "Cutting" }
                details {
                    summary { (summary(plan)) }
                    @if plan.cuts.is_empty() {
                        p { "Each card is cut out for itself: with scissors, a knife, a punch or a cutting machine." }
                    } @else {
                        p {
                            "The first two cuts follow the printed marks, sheet by sheet: print wanders on the paper, so "
                            "that the paper’s own edge is no guide. From then on the fresh edges lie against the stop, "
                            "and a few sheets are cut at a time."
                        }
                        @for (index, cuts) in plan.cuts.iter().enumerate() { (of_kind(plan, index, cuts, units)) }
                    }
                    (piles(plan))
                    h3 { "Mind the blade" }
                    ul { @for caution in CUTTING_CAUTIONS { li { (caution) } } }
                }
            }
        }
    }
}

fn summary(plan: &PlanView) -> String {
    match plan.said.cuts {
        Some(cuts) => format!("The order of the {}, and the piles", counted(cuts, "cut")),
        None => "How the cards are cut out, and the piles".to_owned(),
    }
}

fn of_kind(plan: &PlanView, index: usize, cuts: &CutsView, units: Units) -> Markup {
    html! {
        @if plan.cuts.len() > 1 {
            h3 { "Sheets of kind " (index + 1) ": " (counted(cuts.sheets, "sheet")) }
        }
        div.cut-order {
            div.cut-picture aria-hidden="true" { (PreEscaped(&cuts.picture)) }
            div.scrolls tabindex="0" role="region" aria-label={ "The order of the cuts, kind " (index + 1) } {
                table.cuts {
                    caption.visually-hidden { "The order of the cuts" }
                    thead { tr {
                        th scope="col" { "Step" } th scope="col" { "Stop" } th scope="col" { "How the stack lies" }
                        th scope="col" { "What comes off" } th scope="col" { "At once" }
                    } }
                    tbody {
                        @for row in &cuts.rows {
                            tr {
                                th scope="row" { (row.step) }
                                td { @match &row.stop_mm { Some(mm) => (units.0.said(&format!("{mm} mm"))), None => "the marks" } }
                                td { (row.lay) } td { (row.off) } td { (row.at_once) }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn piles(plan: &PlanView) -> Markup {
    html! {
        @if plan.piles.len() > 1 {
            h3 { "The piles" }
            p { "Put them one on the other in this order, and the deck lies as it is listed. Count them: a card more or less shows here." }
            div.scrolls tabindex="0" role="region" aria-label="The piles" {
                table.cuts {
                    caption.visually-hidden { "The piles, the first on top" }
                    thead { tr { th scope="col" { "Place on the sheet" } th scope="col" { "Cards" } th scope="col" { "On top" } th scope="col" { "At the bottom" } } }
                    tbody {
                        @for pile in &plan.piles {
                            tr { th scope="row" { (pile.cell) } td { (pile.count) } td { (pile.first) } td { (pile.last) } }
                        }
                    }
                }
            }
        }
    }
}
