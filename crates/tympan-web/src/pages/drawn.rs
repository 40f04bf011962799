//! Pictures of sheets and printers. The front is drawn with a solid line, the back with a broken
//! one; what moves has the accent.

use maud::{Markup, html};
use tympan_app::sheet::{Flip, LeadingEdge, Side};
use tympan_app::store::FlippedBy;

/// A sheet with its side's letter, its middle at (x, y).
fn leaf(x: f64, y: f64, (w, h): (f64, f64), side: Side) -> Markup {
    let letter = match side {
        Side::Front => "F",
        Side::Back => "B",
    };
    html! {
        rect class=(side) x=(x - w / 2.0) y=(y - h / 2.0) width=(w) height=(h) {}
        text x=(x) y=(y + 4.5) { (letter) }
    }
}

/// A sheet that is turned over: the side that is printed first, then the other.
pub(super) fn turning(flip: Flip, first: Side) -> Markup {
    let second = first.other();
    html! {
        svg.drawn viewBox="0 0 96 72" width="96" height="72" aria-hidden="true" focusable="false" {
            @match flip {
                Flip::Sideways => {
                    (leaf(25.0, 44.0, (32.0, 44.0), first))
                    (leaf(71.0, 44.0, (32.0, 44.0), second))
                    path.axis d="M48 18v52" {}
                    path.way d="M27 17C33 4 61 4 68 14" {}
                    path.head d="M64 11.5 69.5 17 71 9.5Z" {}
                }
                Flip::Endways => {
                    (leaf(38.0, 54.0, (44.0, 30.0), first))
                    (leaf(38.0, 18.0, (44.0, 30.0), second))
                    path.axis d="M12 36h52" {}
                    path.way d="M64 54C80 50 80 24 68 18" {}
                    path.head d="M72.5 15 63.5 16.5 69 23Z" {}
                }
            }
        }
    }
}

/// A sheet that goes into the printer with this edge first.
pub(super) fn feeding(edge: LeadingEdge, side: Side) -> Markup {
    let degrees = match edge {
        LeadingEdge::Head => 0,
        LeadingEdge::Right => 90,
        LeadingEdge::Foot => 180,
        LeadingEdge::Left => 270,
    };
    // The sheet stays upright; the rollers stand where its edge goes in.
    let (w, h) = (30.0, 42.0);
    let reach = match edge {
        LeadingEdge::Head | LeadingEdge::Foot => h / 2.0,
        LeadingEdge::Left | LeadingEdge::Right => w / 2.0,
    };
    html! {
        svg.drawn viewBox="0 0 96 96" width="84" height="84" aria-hidden="true" focusable="false" {
            (leaf(48.0, 48.0, (w, h), side))
            g transform={ "rotate(" (degrees) " 48 48)" } {
                path.way d={ "M48 " (44.0 - reach) "v-7" } {}
                path.head d={ "M43.5 " (38.0 - reach) "h9l-4.5-8Z" } {}
                path.rollers d={ "M28 " (26.0 - reach) "h40" } {}
            }
        }
    }
}

/// Which side is printed first.
pub(super) fn first(side: Side) -> Markup {
    html! {
        svg.drawn viewBox="0 0 96 60" width="96" height="60" aria-hidden="true" focusable="false" {
            (leaf(22.0, 30.0, (30.0, 42.0), side))
            path.way d="M42 30h10" {}
            path.head d="M52 25.5v9l8-4.5Z" {}
            (leaf(77.0, 30.0, (30.0, 42.0), side.other()))
        }
    }
}

/// Who turns the sheet over: a hand, or the printer in itself.
pub(super) fn who(by: FlippedBy) -> Markup {
    html! {
        svg.drawn viewBox="0 0 96 60" width="96" height="60" aria-hidden="true" focusable="false" {
            @match by {
                FlippedBy::Hand => {
                    rect.front x="12" y="8" width="34" height="44" {}
                    path.way d="M50 12C66 6 80 16 78 30" {}
                    path.head d="M73 28 83 29 77 38Z" {}
                    path.hand d="M40 58c-3-8-2-14 2-16l3 3V32c0-3 5-3 5 0v8l12 3c4 1 5 4 4 8l-2 7" {}
                }
                FlippedBy::Machine => {
                    path.printer d="M16 24h64v26H16ZM28 24V10h40v14" {}
                    path.way d="M34 40C34 30 60 30 62 37" {}
                    path.head d="M57 37 66 35 64 44Z" {}
                }
            }
        }
    }
}

/// Ways into a printer, seen from the side.
#[derive(Clone, Copy)]
pub(super) enum Tray {
    Rear,
    Cassette,
    Slot,
}

/// A printer from the side, with the sheet in its tray.
pub(super) fn tray(tray: Tray) -> Markup {
    html! {
        svg.drawn viewBox="0 0 96 60" width="96" height="60" aria-hidden="true" focusable="false" {
            path.printer d="M20 22h52v30H20Z" {}
            @match tray {
                Tray::Rear => {
                    path.paper d="M70 24 84 4" {}
                    path.way d="M78 6 70 17" {}
                    path.head d="M66.500 14 74 18 66 23Z" {}
                }
                Tray::Cassette => {
                    path.paper d="M8 46h50" {}
                    path.way d="M16 40h10" {}
                    path.head d="M26 35.500v9l8-4.500Z" {}
                }
                Tray::Slot => {
                    path.paper d="M4 32h20" {}
                    path.way d="M5 26h8" {}
                    path.head d="M13 21.500v9l8-4.500Z" {}
                }
            }
        }
    }
}

/// The printer over the end that goes in first.
fn mouth() -> Markup {
    html! { path.rollers d="M20 8h56" {} }
}

/// A pencilled arrow to the end that goes in first.
fn pencil_arrow(y: f64) -> Markup {
    html! {
        path.pencil d={ "M62 " (y + 22.0) "v-18M58.500 " (y + 9.0) "l3.500-6 3.500 6" } {}
    }
}

/// Two sheets in the tray, an arrow on each, TOP on the upper one.
pub(super) fn pencilled() -> Markup {
    html! {
        svg.drawn viewBox="0 0 96 84" width="144" height="126" aria-hidden="true" focusable="false" {
            (mouth())
            rect.front x="31" y="20" width="40" height="56" {}
            rect.front x="27" y="16" width="40" height="56" {}
            path.pencil d="M47 52V28M41 37l6-10 6 10" {}
            text.small x="47" y="66" { "TOP" }
        }
    }
}

/// Two sheets as they were delivered, with this number on the uppermost.
pub(super) fn uppermost(number: &str) -> Markup {
    html! {
        svg.drawn viewBox="0 0 96 72" width="96" height="72" aria-hidden="true" focusable="false" {
            rect.front x="34" y="14" width="38" height="52" {}
            rect.front x="26" y="8" width="38" height="52" {}
            text.large x="45" y="43" { (number) }
        }
    }
}

/// A pile whose print is seen, or lies underneath.
pub(super) fn lies(up: bool) -> Markup {
    html! {
        svg.drawn viewBox="0 0 96 72" width="96" height="72" aria-hidden="true" focusable="false" {
            rect.front x="34" y="14" width="38" height="52" {}
            rect.front[up].back[!up] x="26" y="8" width="38" height="52" {}
            @if up { text.large x="45" y="43" { "1" } }
            @else { text.large.underneath x="45" y="43" { "?" } }
        }
    }
}

/// The sheet that says TOP with this number.
pub(super) fn on_top(number: &str) -> Markup {
    html! {
        svg.drawn viewBox="0 0 96 72" width="96" height="72" aria-hidden="true" focusable="false" {
            rect.front x="28" y="8" width="40" height="56" {}
            text.large x="48" y="38" { (number) }
            text.small x="48" y="57" { "TOP" }
        }
    }
}

/// The print on the face with the pencilled arrow, or on the other one.
pub(super) fn took(same: bool) -> Markup {
    html! {
        svg.drawn viewBox="0 0 96 72" width="96" height="72" aria-hidden="true" focusable="false" {
            @if same {
                rect.front x="28" y="8" width="40" height="56" {}
                text.large x="43" y="46" { "1" }
                (pencil_arrow(14.0))
            } @else {
                rect.front x="6" y="10" width="36" height="52" {}
                path.pencil d="M24 44V22M20 29l4-7 4 7" {}
                path.way d="M46 36h6" {}
                path.head d="M51 31.500v9l6-4.500Z" {}
                rect.back x="60" y="10" width="32" height="52" {}
                text.large x="76" y="46" { "1" }
            }
        }
    }
}

/// The print as it stands on the sheet whose arrow points up.
pub(super) fn at_arrow(edge: LeadingEdge) -> Markup {
    let degrees = match edge {
        LeadingEdge::Head => 0,
        LeadingEdge::Left => 90,
        LeadingEdge::Foot => 180,
        LeadingEdge::Right => -90,
    };
    html! {
        svg.drawn viewBox="0 0 96 76" width="96" height="76" aria-hidden="true" focusable="false" {
            path.pencil d="M14 62V22M9 31l5-9 5 9" {}
            rect.front x="28" y="10" width="40" height="56" {}
            g transform={ "rotate(" (degrees) " 48 38)" } {
                text.small x="48" y="29" { "head" }
                text.large x="48" y="52" { "1" }
            }
        }
    }
}

/// A number in a ring, as the second pass prints it.
pub(super) fn ringed(number: &str) -> Markup {
    html! {
        svg.drawn viewBox="0 0 96 72" width="96" height="72" aria-hidden="true" focusable="false" {
            rect.back x="28" y="8" width="40" height="56" {}
            circle.ring cx="48" cy="36" r="15" {}
            text.large x="48" y="44" { (number) }
        }
    }
}
