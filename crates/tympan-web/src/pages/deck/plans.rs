//! The best plans as pictures to choose from, and the sheets of the chosen one.

use maud::{Markup, PreEscaped, html};
use tympan_app::desk::Deck;
use tympan_app::lay::{PlanView, View};

use crate::pages::counted;
use crate::shell::Units;

pub(super) fn choose(deck: &Deck, view: &View, units: Units) -> Markup {
    html! {
        section #plans aria-labelledby="plans-title" hidden[view.plans.is_empty()] {
            h2 #plans-title { "The best plans" }
            fieldset.plans {
                legend.visually-hidden { "Plan" }
                @for (index, plan) in view.plans.iter().enumerate() {
                    label {
                        input type="radio" name="plan" value=(index + 1) checked[index == deck.plan()];
                        span.plan {
                            span.plan-picture aria-hidden="true" { (PreEscaped(&plan.picture)) }
                            span.plan-words { (words(plan, units)) }
                        }
                    }
                }
            }
        }
    }
}

fn words(plan: &PlanView, units: Units) -> Markup {
    let said = &plan.said;
    let rejects = said.expected_rejects;
    html! {
        strong { (counted(said.sheets, "sheet")) ", " (said.per_sheet) " on each" }
        span { (said.title) @if !said.pre_cut { ", " (gutter(said.gutter_mm, units)) } }
        span {
            @match said.cuts {
                _ if said.pre_cut => "no cuts", Some(cuts) => (counted(cuts, "cut")), None => "cut around each" }
            "; " (format!("{:.0}", said.waste_percent)) " % of the paper wasted"
        }
        @if said.witness_room == Some(false) { span { "No room for witness marks" } }
        @if plan.two_sided {
            span {
                "Expected to go wrong: "
                @if rejects < 0.05 { "none" } @else { (format!("{rejects:.1}")) " of " (said.cards) }
            }
        }
    }
}

fn gutter(mm: f64, units: Units) -> String {
    use tympan_app::words::Units::{Inch, Mm};
    if mm <= 0.0 {
        return "one cut between neighbours".to_owned();
    }
    match units.0 {
        Mm => format!("{mm} mm between neighbours"),
        Inch => format!("{:.3} in between neighbours", units.0.of_mm(mm)),
    }
}

/// Front and back of a sheet, drawn as they will be printed.
pub(super) fn sheets(deck: &Deck, view: &View) -> Markup {
    let Some(plan) = view.plans.get(deck.plan()) else {
        return html! { section #sheets hidden {} };
    };
    let names = serde_json::to_string(&plan.sheets).unwrap_or_default();
    let count = plan.sheets.len();
    let size = view.sheet.map_or((210, 297), |size| {
        (size.w.round() as u32, size.h.round() as u32)
    });
    let source = |side: &str| format!("/api/deck/{}/sheet/{}/0/{side}", deck.id, deck.stamp());
    html! {
        section #sheets aria-labelledby="sheets-title" data-names=(names) {
            h2 #sheets-title { "The sheets, as they will be printed" }
            p.actions {
                button #sheet-back .button.small type="button" disabled { "Sheet before" }
                span #sheet-which aria-live="polite" { "Sheet 1 of " (count) }
                button #sheet-on .button.small type="button" disabled[count < 2] { "Next sheet" }
            }
            div.both-sides {
                @for (side, title) in [("front", "Front"), ("back", "Back")] {
                    @if side == "front" || plan.two_sided {
                        figure class={ "side " (side) } {
                            figcaption { (title) }
                            img data-side=(side) alt={ (title) " of sheet 1" } width=(size.0) height=(size.1) src=(source(side));
                        }
                    }
                }
            }
            p #sheet-names .quiet {
                @if let Some(first) = plan.sheets.first() { (first.join(", ")) }
            }
            @if let Some(setup) = &view.corrected_for {
                @if plan.two_sided { p.quiet { "The backs are corrected for “" (setup) "”: they lie where this printer will bring them behind their fronts." } }
            }
            @if deck.wish.is_on("witness") { p.quiet { "The witness marks are added when the sheets are saved." } }
        }
    }
}
