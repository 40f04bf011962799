//! Plots of what was measured, all looking at the back: down is low, left is left.

use maud::{Markup, html};
use tympan_app::lines_up::{Ellipse, LinesUp, SheetSeen, length};

use crate::shell::Units;

/// How many times longer than they are arrows are drawn, so that the longest one is a good part
/// of the sheet.
fn magnified(longest: f64, room: f64) -> f64 {
    let steps = [200.0, 100.0, 50.0, 20.0, 10.0, 5.0, 2.0];
    let fits = |by: &f64| longest * by <= room;
    steps.into_iter().find(fits).unwrap_or(1.0)
}

/// The steady error over the sheet.
pub(super) fn arrows(seen: &LinesUp, _units: Units) -> Markup {
    let size = seen.setup.paper.size();
    let longest = seen
        .arrows
        .iter()
        .map(|arrow| arrow.off.x.hypot(arrow.off.y))
        .fold(0.0, f64::max);
    let by = magnified(longest, size.w / 6.0);
    html! {
        svg.plot viewBox={ "-6 -6 " (size.w + 12.0) " " (size.h + 12.0) } role="img"
            aria-label="Arrows over the back of the sheet, from where the print should be to where it is" {
            rect.back x="0" y="0" width=(size.w) height=(size.h) {}
            @for arrow in &seen.arrows {
                @let (x, y) = (arrow.at.x, arrow.at.y);
                @let (dx, dy) = (arrow.off.x * by, arrow.off.y * by);
                circle.from cx=(x) cy=(y) r="1.6" {}
                path.way d={ "M" (x) " " (y) "l" (dx) " " (dy) } {}
                (head((x + dx, y + dy), (dx, dy)))
            }
        }
        figcaption {
            strong { "The steady error." } " Looking at the back: each arrow goes from where the print should be to where it is, "
            (by) " times as long as that is."
        }
    }
}

/// An arrow's head at a point.
fn head((x, y): (f64, f64), (dx, dy): (f64, f64)) -> Markup {
    let l = dx.hypot(dy);
    if l < 1.0 {
        return html! {};
    }
    let (ux, uy) = (dx / l, dy / l);
    let back = |s: f64| {
        format!(
            "{:.2} {:.2}",
            x - 6.0 * ux - s * 2.6 * uy,
            y - 6.0 * uy + s * 2.6 * ux
        )
    };
    html! { path.head d={ "M" (format!("{:.2} {:.2}", x + ux, y + uy)) "L" (back(1.0)) "L" (back(-1.0)) "Z" } {} }
}

/// A round step in mm that puts a few lines within reach.
fn step(reach: f64, units: Units) -> f64 {
    let (round, unit): (&[f64], f64) = match units.0 {
        tympan_app::words::Units::Mm => (&[0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0], 1.0),
        tympan_app::words::Units::Inch => (&[0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5], 25.4),
    };
    let fits = |step: &f64| reach / (step * unit) <= 4.0;
    round.iter().copied().find(fits).unwrap_or(50.0 / unit) * unit
}

fn ellipse(of: &Ellipse, class: &str, scale: f64) -> Markup {
    let (x, y) = (of.middle.x * scale, of.middle.y * scale);
    html! {
        ellipse class=(class) rx=(of.long * scale) ry=(of.short * scale)
            transform={ "translate(" (x) " " (y) ") rotate(" (of.tilt_deg) ")" } {}
    }
}

/// Each sheet as a point with its ellipse, about the place where all should be.
pub(super) fn sheets(seen: &LinesUp, units: Units) -> Markup {
    let all = seen.sheets.iter().map(|sheet| &sheet.at);
    let reach = all
        .chain(&seen.next_sheets)
        .map(|e| (e.middle.x.abs() + e.half_x).max(e.middle.y.abs() + e.half_y))
        .fold(0.2, f64::max)
        * 1.05;
    let scale = 100.0 / reach;
    let step = step(reach, units);
    let lines = (reach / step).floor() as i32;
    html! {
        svg.plot viewBox="-124 -118 248 242" role="img" aria-label="Each sheet as a point: where its back lies at the middle of the sheet" {
            rect.back x="-100" y="-100" width="200" height="200" {}
            @for i in -lines..=lines {
                @let at = f64::from(i) * step * scale;
                path class=(if i == 0 { "axis" } else { "one" }) d={ "M" (at) " -100V100M-100 " (at) "H100" } {}
            }
            text.label x="0" y="-105" { "high" } text.label x="0" y="114" { "low" }
            text.label transform="translate(-106 0) rotate(-90)" { "left" } text.label transform="translate(114 0) rotate(-90)" { "right" }
            @if let Some(next) = &seen.next_sheets { (ellipse(next, "next", scale)) }
            @for sheet in &seen.sheets {
                @let class = if sheet.set_aside.is_some() { "own aside" } else { "own" };
                (ellipse(&sheet.at, class, scale))
            }
            @for sheet in &seen.sheets {
                @let (x, y) = (sheet.at.middle.x * scale, sheet.at.middle.y * scale);
                circle class=(if sheet.set_aside.is_some() { "point aside" } else { "point" }) cx=(x) cy=(y) r="3" {}
                @if let Some(n) = sheet.number { text.number x=(x + 5.0) y=(y - 4.0) { (n) } }
            }
            path.target d="M-5 0H5M0-5V5" {}
        }
        figcaption {
            strong { "Each sheet" } ", looking at the back. The cross is where all should be; lines stand " (length(units.0, step))
            " apart. Small ellipses show how sure a reading is, the large broken one where 19 of 20 sheets land."
        }
    }
}

/// The readings in the order in which they came in.
pub(super) fn over_time(seen: &LinesUp, units: Units) -> Markup {
    let n = seen.sheets.len().max(1) as f64;
    let width = 640.0;
    let x_of = |i: usize| 46.0 + (width - 60.0) * (i as f64 + 0.5) / n;
    html! {
        svg.plot.time viewBox={ "0 0 " (width) " 250" } role="img" aria-label="Where the backs lay, sheet by sheet" {
            (strip(seen, units, (0.0, "low", "high"), &x_of, width, |e| (e.middle.y, e.half_y)))
            (strip(seen, units, (125.0, "right", "left"), &x_of, width, |e| (e.middle.x, e.half_x)))
        }
        figcaption {
            strong { "Sheet by sheet" } ", in the order in which they were read, looking at the back. Bars show how sure a reading is; "
            "the band is the steady error as it is known."
        }
    }
}

fn strip(
    seen: &LinesUp,
    units: Units,
    (top, plus, minus): (f64, &str, &str),
    x_of: &dyn Fn(usize) -> f64,
    width: f64,
    pick: fn(&Ellipse) -> (f64, f64),
) -> Markup {
    let reach = seen
        .sheets
        .iter()
        .map(|sheet| pick(&sheet.at))
        .chain(seen.steady.iter().map(pick))
        .map(|(at, half)| at.abs() + half)
        .fold(0.1, f64::max)
        * 1.1;
    let middle = top + 56.0;
    let scale = 48.0 / reach;
    let y = |mm: f64| middle + mm * scale;
    let step = step(reach, units);
    let lines = (reach / step).floor() as i32;
    let shown = |sheet: &SheetSeen| {
        if sheet.set_aside.is_some() {
            "point aside"
        } else {
            "point"
        }
    };
    html! {
        @for i in -lines..=lines {
            path class=(if i == 0 { "axis" } else { "one" }) d={ "M46 " (y(f64::from(i) * step)) "H" (width - 8.0) } {}
        }
        @if let Some((at, half)) = seen.steady.as_ref().map(pick) {
            rect.band x="46" y=(y(at - half)) width=(width - 54.0) height=(2.0 * half * scale) {}
        }
        text.label.start x="2" y=(middle - 40.0) { (minus) }
        text.label.start x="2" y=(middle + 46.0) { (plus) }
        text.label.start x="2" y=(middle + 4.0) { "0" }
        @for (i, sheet) in seen.sheets.iter().enumerate() {
            @let (at, half) = pick(&sheet.at);
            path.bar d={ "M" (x_of(i)) " " (y(at - half)) "V" (y(at + half)) } {}
            circle class=(shown(sheet)) cx=(x_of(i)) cy=(y(at)) r="3.5" {}
            @if let Some(n) = sheet.number { text.number x=(x_of(i) + 6.0) y=(y(at) - 5.0) { (n) } }
        }
        text.label.end x=(width - 10.0) y=(top + 116.0) { "lines " (length(units.0, step)) " apart" }
    }
}
