//! The board: 24 places for tiles, eight villages around them, larger than a desk printer's sheet.

use tympan_sheet::drawing::{Drawing, Path, Stroke};
use tympan_sheet::{Affine, Size};

use crate::motifs::{bell, ferry, gull, heron, house, lantern, mixed, reeds, tuft};
use crate::palette::{
    BRICK, CREAM, FOAM, GRASS, INK, MUD, OCHRE, PEAT, REED, SAND, SHALLOW, SLATE, TIDE,
};
use crate::sketch::{Sketch, blob, heading, ripple, text};
use crate::suit::Suit;
use crate::tiles::TILE;

/// The board once cut, mm.
pub const BOARD: Size = Size::new(400.0, 280.0);
/// How far the board's picture goes on beyond the trim, mm.
pub const BOARD_BLEED: f64 = 3.0;

/// From one tile to the next, mm.
const PITCH: f64 = 46.5;
const COLUMNS: usize = 6;
const ROWS: usize = 4;
const LEFT: f64 = (BOARD.w - PITCH * COLUMNS as f64) / 2.0;
const TOP: f64 = (BOARD.h - PITCH * ROWS as f64) / 2.0 + 4.0;
const RIGHT: f64 = BOARD.w - LEFT;
const BOTTOM: f64 = TOP + PITCH * ROWS as f64;

/// The villages: name, shore, which side of the marsh they lie on, and beside which row or column.
const VILLAGES: [(&str, Suit, Side, usize); 8] = [
    ("Withy End", Suit::Reeds, Side::Left, 0),
    ("Candle Hythe", Suit::Lanterns, Side::Left, 2),
    ("Bell Quay", Suit::Bells, Side::Head, 1),
    ("Heronsgate", Suit::Herons, Side::Head, 4),
    ("Oldlight", Suit::Lanterns, Side::Right, 1),
    ("Samphire Green", Suit::Reeds, Side::Right, 3),
    ("Greywing Stairs", Suit::Herons, Side::Foot, 1),
    ("Tollwater", Suit::Bells, Side::Foot, 4),
];

#[derive(Clone, Copy, PartialEq, Eq)]
enum Side {
    Head,
    Foot,
    Left,
    Right,
}

/// The board with its bleed.
pub fn board() -> Drawing {
    let mut s = Sketch::new();
    let b = BOARD_BLEED;
    s.fill(
        Path::rect(-b, -b, BOARD.w + 2.0 * b, BOARD.h + 2.0 * b),
        GRASS,
    );
    grassland(&mut s);
    marsh(&mut s);
    scenery(&mut s);
    for (name, suit, side, place) in VILLAGES {
        village(&mut s, name, suit, side, place);
    }
    signs(&mut s);
    places(&mut s);
    title(&mut s);
    s.on_page(BOARD, BOARD_BLEED)
}

fn grassland(s: &mut Sketch) {
    let blade = mixed(GRASS, REED, 0.4);
    for i in 0..260 {
        let (x, y) = (
            ((i * 83) % 407) as f64 - 3.0,
            ((i * 149) % 287) as f64 - 3.0,
        );
        s.put(tuft(blade), x, y, 0.55);
    }
}

/// An outline about the grid, `out` mm from it, wavering like a shore.
fn shore(out: f64, wobble: f64) -> Path {
    let (l, t, r, b) = (LEFT - out, TOP - out, RIGHT + out, BOTTOM + out);
    let round = out + 4.0;
    let mut points = Vec::new();
    let mut put = |x: f64, y: f64, (across, down): (f64, f64)| {
        let far = wobble * 0.7 * ((x * 0.37).sin() + (y * 0.53).cos());
        points.push((x + across * far, y + down * far));
    };
    let corners = [(l, t), (r, t), (r, b), (l, b)];
    for (i, (x, y)) in corners.into_iter().enumerate() {
        // Clockwise: each corner's arc, then the straight to the next corner.
        let (cx, cy) = (x.clamp(l + round, r - round), y.clamp(t + round, b - round));
        let start = std::f64::consts::PI * (1.0 + i as f64 / 2.0);
        for step in 0..=4 {
            let angle = start + std::f64::consts::FRAC_PI_2 * f64::from(step) / 4.0;
            let (dy, dx) = angle.sin_cos();
            put(cx + round * dx, cy + round * dy, (dx, dy));
        }
        let (dx, dy) = [(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0)][i];
        let length = if i % 2 == 0 { r - l } else { b - t } - 2.0 * round;
        let count = (length / 16.0) as usize;
        for step in 1..count {
            let far = round + length * step as f64 / count as f64;
            put(x + dx * far, y + dy * far, (dy, -dx));
        }
    }
    blob(&points)
}

fn marsh(s: &mut Sketch) {
    for (out, colour) in [(13.0, REED), (12.0, MUD), (9.6, SAND), (6.4, SHALLOW)] {
        s.fill(shore(out, 1.6), colour);
    }
    s.fill(shore(4.4, 1.2), TIDE);
}

fn places(s: &mut Sketch) {
    for row in 0..ROWS {
        for column in 0..COLUMNS {
            let (x, y) = (LEFT + PITCH * column as f64, TOP + PITCH * row as f64);
            let gap = (PITCH - TILE.w) / 2.0;
            let place = Path::rounded_rect(x + gap, y + gap, TILE.w, TILE.h, 4.0);
            s.fill(place.clone(), mixed(TIDE, SHALLOW, 0.45));
            s.stroke(
                place,
                Stroke::solid(mixed(TIDE, FOAM, 0.75), 0.5).dashed(&[2.0, 1.6]),
            );
            let suit = Suit::ALL[row];
            s.put(suit.sign(), x + PITCH / 2.0, y + 18.5, 1.15);
            let hours = format!("{} · {}", 2 * column + 1, 2 * column + 2);
            s.text(heading(x + PITCH / 2.0, y + 35.5, 8.5, CREAM, &hours).centred());
        }
    }
}

/// The signs at both ends of the rows, the hours over the columns.
fn signs(s: &mut Sketch) {
    for (row, suit) in Suit::ALL.into_iter().enumerate() {
        let y = TOP + PITCH * (row as f64 + 0.5);
        for x in [LEFT - 20.5, RIGHT + 20.5] {
            if !VILLAGES
                .iter()
                .any(|v| at(v.2, v.3).1 == y && (at(v.2, v.3).0 < LEFT) == (x < LEFT))
            {
                s.put(suit.sign(), x, y, 1.35);
            }
        }
    }
}

/// The middle of the edge where a village's landing stage is.
fn at(side: Side, place: usize) -> (f64, f64) {
    let along = PITCH * (place as f64 + 0.5);
    match side {
        Side::Head => (LEFT + along, TOP),
        Side::Foot => (LEFT + along, BOTTOM),
        Side::Left => (LEFT - 1e-9, TOP + along),
        Side::Right => (RIGHT, TOP + along),
    }
}

fn village(s: &mut Sketch, name: &str, suit: Suit, side: Side, place: usize) {
    let (x, y) = at(side, place);
    let (dx, dy): (f64, f64) = match side {
        Side::Head => (0.0, -1.0),
        Side::Foot => (0.0, 1.0),
        Side::Left => (-1.0, 0.0),
        Side::Right => (1.0, 0.0),
    };
    jetty(s, (x, y), (dx, dy));
    let (cx, cy) = (x + dx * 31.0, y + dy * 22.5);
    let roofs = [suit.colour(), BRICK, suit.colour()];
    for (i, (offset, scale)) in [(-9.5, 0.72), (10.0, 0.66), (0.5, 0.95)]
        .into_iter()
        .enumerate()
    {
        s.put(
            house(if i == 1 { SAND } else { CREAM }, roofs[i]),
            cx + offset,
            cy + 2.0 + i as f64,
            scale,
        );
    }
    let width = tympan_pdf::draw::text_width(name, 5.0, tympan_sheet::drawing::Face::Heading);
    let (w, h) = (width + 14.5, 8.4);
    let (lx, ly) = (cx - w / 2.0, cy + 6.0);
    s.fill(Path::rounded_rect(lx, ly, w, h, 4.2), CREAM);
    s.stroke(
        Path::rounded_rect(lx, ly, w, h, 4.2),
        Stroke::solid(suit.colour(), 0.6),
    );
    s.put(suit.sign(), lx + 4.2, ly + h / 2.0, 0.78);
    s.text(heading(lx + 10.4, ly + 5.9, 5.0, INK, name));
}

/// A landing stage from the water's edge towards the village.
fn jetty(s: &mut Sketch, (x, y): (f64, f64), (dx, dy): (f64, f64)) {
    let (ax, ay) = (x + dx * 1.0, y + dy * 1.0);
    let (bx, by) = (x + dx * 17.0, y + dy * 17.0);
    s.stroke(Path::line(ax, ay, bx, by), Stroke::solid(PEAT, 7.0));
    let planks = Stroke::solid(MUD, 5.6).dashed(&[1.5, 0.5]);
    s.stroke(Path::line(ax, ay, bx, by), planks);
    for side in [-3.5, 3.5] {
        for d in [2.0, 9.0, 16.0] {
            s.disc(x + dx * d + dy * side, y + dy * d + dx * side, 1.0, INK);
        }
    }
}

fn scenery(s: &mut Sketch) {
    for (x, y, scale) in [
        (13.0, 272.0, 0.8),
        (22.0, 276.0, 0.62),
        (388.0, 268.0, 0.8),
        (330.0, 276.0, 0.5),
        (60.0, 277.0, 0.4),
    ] {
        s.put(reeds(), x, y, scale);
    }
    s.put(heron(), 43.0, 268.0, 0.62);
    s.put_mirrored(heron(), 371.0, 272.0, 0.8);
    s.put(lantern(), 386.0, 88.0, 0.7);
    s.put_mirrored(lantern(), 10.0, 150.0, 0.55);
    for (x, y) in [(205.0, 25.0), (214.0, 20.0), (340.0, 24.0), (30.0, 108.0)] {
        s.put(gull(CREAM), x, y, 1.4);
    }
    pond(s, (204.0, 265.0), (24.0, 7.0));
    s.put(bell(), 204.0, 263.5, 0.42);
}

fn pond(s: &mut Sketch, (x, y): (f64, f64), (rx, ry): (f64, f64)) {
    s.fill(Path::ellipse(x, y, rx + 1.6, ry + 1.2), REED);
    s.fill(Path::ellipse(x, y, rx, ry), SHALLOW);
    s.line(
        ripple((x - 14.0, x - 9.0), y + 1.0, (0.5, 6.0, 0.0)),
        FOAM,
        0.5,
    );
    s.line(
        ripple((x + 10.0, x + 14.0), y + 2.0, (0.5, 6.0, 0.0)),
        FOAM,
        0.5,
    );
}

fn title(s: &mut Sketch) {
    s.text(heading(14.0, 24.0, 15.5, INK, "Saltmarsh"));
    s.text(heading(14.0, 39.0, 15.5, INK, "Ferry"));
    s.put(ferry(BRICK), 71.0, 39.6, 0.36);
    compass(s, 376.0, 27.0);
    let note = text(
        204.0,
        35.0,
        3.2,
        mixed(REED, INK, 0.5),
        "Early hours lie in the west, late hours in the east.",
    );
    s.text(note.centred());
}

fn compass(s: &mut Sketch, x: f64, y: f64) {
    s.stroke(Path::circle(x, y, 14.0), Stroke::solid(INK, 0.6));
    s.stroke(
        Path::circle(x, y, 12.6),
        Stroke::solid(INK, 0.3).dashed(&[0.6, 2.7]),
    );
    let mut point = Sketch::new();
    point.fill(Path::polygon(&[(0.0, -12.0), (2.4, -2.4), (0.0, 0.0)]), INK);
    point.fill(
        Path::polygon(&[(0.0, -12.0), (-2.4, -2.4), (0.0, 0.0)]),
        OCHRE,
    );
    for (c, sn) in [(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0)] {
        s.place(point.clone(), Affine::new(c, -sn, sn, c, x, y));
    }
    s.disc(x, y, 1.5, SLATE);
    s.text(heading(x, y - 15.4, 5.5, INK, "N").centred());
}
