//! A tuck box for the deck: one net to cut, fold and glue.

use tympan_sheet::drawing::{Colour, Drawing, Path, Stroke};
use tympan_sheet::{Affine, Angle, Point, Size};

use crate::deck::CARD;
use crate::motifs::{ferry, glow, heron, mixed, reeds};
use crate::palette::{BRICK, CREAM, DUSK, FOAM, INK, SHALLOW, SLATE, TIDE};
use crate::sketch::{Sketch, heading, ripple, text, water};

/// Inside the box, mm: the cards with some air, and a stack of 54 cards of 0.3 mm.
pub const INSIDE: [f64; 3] = [CARD.w + 1.5, CARD.h + 1.5, 18.0];

const W: f64 = INSIDE[0];
const H: f64 = INSIDE[1];
const D: f64 = INSIDE[2];
/// The tongue that is tucked in, and the strip that is glued.
const TONGUE: f64 = 15.0;
const GLUE: f64 = 11.0;
const MARGIN: f64 = 6.0;
/// How far the flaps' sides lean in.
const LEAN: f64 = 2.5;

/// The net with a margin of 6 mm: cut along solid lines, fold along broken ones, glue where it is
/// hatched.
pub fn tuck_box() -> Drawing {
    let size = Size::new(
        2.0 * (W + D) + GLUE + 2.0 * MARGIN,
        H + 2.0 * (D + TONGUE) + 2.0 * MARGIN,
    );
    let mut s = Sketch::new();
    let y = D + TONGUE;
    // From the left: glue strip, back, side, front, side.
    let back = GLUE;
    let (side, front, last) = (back + W, back + W + D, back + 2.0 * W + D);
    face(&mut s, (front, y), true);
    face(&mut s, (back, y), false);
    for x in [side, last] {
        spine(&mut s, (x, y));
    }
    for (x, y) in [(front, y - D), (back, y + H)] {
        s.fill(Path::rect(x, y, W, D), BRICK);
        let name = heading(
            x + W / 2.0,
            y + D / 2.0 + 2.2,
            6.4,
            CREAM,
            "Saltmarsh Ferry",
        );
        s.text(name.centred());
    }
    hatched(
        &mut s,
        &[
            (0.0, y + LEAN),
            (GLUE, y),
            (GLUE, y + H),
            (0.0, y + H - LEAN),
        ],
    );

    for x in [back, side, front, last] {
        fold(&mut s, x, y, x, y + H);
    }
    fold(&mut s, front, y, front + W, y);
    fold(&mut s, front, y - D, front + W, y - D);
    fold(&mut s, back, y + H, back + W, y + H);
    fold(&mut s, back, y + H + D, back + W, y + H + D);
    for x in [side, last] {
        fold(&mut s, x, y, x + D, y);
        fold(&mut s, x, y + H, x + D, y + H);
    }
    let right = last + D;
    let flap = D * 0.8;
    let up = |x: f64| {
        [
            (x, y),
            (x + LEAN, y - flap),
            (x + D - LEAN, y - flap),
            (x + D, y),
        ]
    };
    let down = |x: f64| {
        [
            (x, y + H),
            (x + LEAN, y + H + flap),
            (x + D - LEAN, y + H + flap),
            (x + D, y + H),
        ]
    };
    let cut = |s: &mut Sketch, points: &[(f64, f64)]| {
        s.stroke(Path::polyline(points), Stroke::solid(INK, 0.3).rounded());
    };
    cut(
        &mut s,
        &[
            (GLUE, y),
            (0.0, y + LEAN),
            (0.0, y + H - LEAN),
            (GLUE, y + H),
        ],
    );
    cut(&mut s, &[(right, y), (right, y + H)]);
    cut(&mut s, &[(front, y + H), (front + W, y + H)]);
    // The back's head: a thumb notch.
    let (a, b) = (back + W / 2.0 - 9.0, back + W / 2.0 + 9.0);
    cut(&mut s, &[(back, y), (a, y)]);
    s.stroke(
        crate::sketch::curve((a, y), (a + 2.0, y + 9.0), (b - 2.0, y + 9.0), (b, y)),
        Stroke::solid(INK, 0.3).rounded(),
    );
    cut(&mut s, &[(b, y), (back + W, y)]);
    for x in [side, last] {
        cut(&mut s, &up(x));
        cut(&mut s, &down(x));
    }
    for (x, from, to) in [(front, y, -1.0), (back, y + H, 1.0)] {
        let (lid, tip) = (from + to * D, from + to * (D + TONGUE));
        let r = 9.0;
        cut(&mut s, &[(x, from), (x, lid)]);
        cut(&mut s, &[(x + W, from), (x + W, lid)]);
        let mut tongue = Path::polyline(&[(x, lid), (x, tip - to * r)]);
        let bend = |a: (f64, f64), corner: (f64, f64), b: (f64, f64)| {
            crate::sketch::curve(a, corner, corner, b).segments[1]
        };
        tongue
            .segments
            .push(bend((x, tip - to * r), (x, tip), (x + r, tip)));
        tongue
            .segments
            .push(tympan_sheet::drawing::Segment::Line(Point::new(
                x + W - r,
                tip,
            )));
        tongue
            .segments
            .push(bend((x + W - r, tip), (x + W, tip), (x + W, tip - to * r)));
        tongue
            .segments
            .push(tympan_sheet::drawing::Segment::Line(Point::new(x + W, lid)));
        s.stroke(tongue, Stroke::solid(INK, 0.3).rounded());
    }
    let mut page = Drawing::new(size);
    let mut shifted = Sketch::new();
    shifted.place(s, Affine::new(1.0, 0.0, 0.0, 1.0, MARGIN, MARGIN));
    page.items = shifted.into_items();
    page
}

fn fold(s: &mut Sketch, x1: f64, y1: f64, x2: f64, y2: f64) {
    s.stroke(
        Path::line(x1, y1, x2, y2),
        Stroke::solid(INK, 0.25).dashed(&[2.0, 1.5]),
    );
}

fn hatched(s: &mut Sketch, outline: &[(f64, f64)]) {
    let mut lines = Sketch::new();
    let (mut y, bottom) = (outline[1].1 - GLUE, outline[2].1);
    while y < bottom {
        lines.line(
            Path::line(0.0, y + GLUE, GLUE, y),
            mixed(SHALLOW, CREAM, 0.3),
            0.3,
        );
        y += 2.5;
    }
    s.clipped(lines, Path::polygon(outline));
    let middle = (outline[1].1 + outline[2].1) / 2.0;
    s.fill(Path::rect(2.6, middle - 9.0, 6.0, 18.0), Colour::WHITE);
    s.text(
        text(7.0, middle, 3.8, INK, "glue")
            .centred()
            .tilted(Angle::degrees(-90.0)),
    );
}

fn face(s: &mut Sketch, (x, y): (f64, f64), front: bool) {
    let mut p = Sketch::new();
    p.fill(Path::rect(0.0, 0.0, W, H), DUSK);
    if front {
        p.put(glow(17.0, DUSK), 44.0, 27.0, 1.0);
        p.disc(44.0, 27.0, 8.4, CREAM);
        p.text(heading(6.0, 13.0, 9.4, CREAM, "Saltmarsh"));
        p.text(heading(6.0, 22.0, 9.4, CREAM, "Ferry"));
    }
    for (i, colour) in [
        SLATE,
        SHALLOW,
        mixed(SHALLOW, TIDE, 0.6),
        TIDE,
        mixed(TIDE, INK, 0.4),
    ]
    .into_iter()
    .enumerate()
    {
        let far = i as f64;
        let top = if front { 48.0 } else { 60.0 } + 7.0 * far;
        let shape = (0.8 + 0.25 * far, 12.0 + 2.5 * far, 0.31 * far);
        p.fill(water((0.0, W), (top, H + 4.0), shape), colour);
        p.line(
            ripple((0.0, W), top + 1.3, shape),
            mixed(colour, FOAM, 0.5),
            0.3,
        );
        if front && i == 1 {
            p.put(ferry(BRICK), 29.0, top + 5.0, 0.85);
        }
        if i == 3 && !front {
            p.put(reeds(), 12.0, H - 4.0, 0.9);
        }
    }
    if !front {
        p.put(heron(), 40.0, H - 20.0, 0.75);
        for (i, line) in [
            "For 2 to 4 skippers",
            "from 8 years, 40 minutes:",
            "48 hours, 2 tides, 4 ferries",
        ]
        .into_iter()
        .enumerate()
        {
            p.text(text(W / 2.0, 14.0 + 5.6 * i as f64, 4.0, CREAM, line).centred());
        }
    }
    let mut placed = Sketch::new();
    placed.put(p, x, y, 1.0);
    s.clipped(placed, Path::rect(x, y, W, H));
}

fn spine(s: &mut Sketch, (x, y): (f64, f64)) {
    s.fill(Path::rect(x, y, D, H), TIDE);
    let name = heading(
        x + D / 2.0 + 2.3,
        y + H / 2.0,
        6.6,
        CREAM,
        "Saltmarsh Ferry",
    );
    s.text(name.centred().tilted(Angle::degrees(-90.0)));
}
