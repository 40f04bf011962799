//! The 24 squares of marsh: at high water on the front, at low water on the back.

use tympan_sheet::Size;
use tympan_sheet::drawing::{Colour, Path};

use crate::motifs::{gull, mixed, reeds, tuft};
use crate::palette::{BRICK, CREAM, FOAM, GRASS, INK, MUD, PEAT, REED, SAND, SHALLOW, TIDE};
use crate::piece::Piece;
use crate::sketch::{Sketch, curve, ripple, text};

/// A tile, trimmed, mm.
pub const TILE: Size = Size::new(45.0, 45.0);
/// How far a tile's picture goes on beyond the trim, mm.
const BLEED: f64 = 3.0;
/// The radius of a tile's corners, mm.
const CORNER: f64 = 4.0;

/// An edge of a tile that its water runs out over.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Exit {
    N,
    E,
    S,
    W,
}

use Exit::{E, N, S, W};

impl Exit {
    /// The same edge of the tile as it is called on the back, the tile turned over like the page
    /// of a book.
    fn behind(self) -> Self {
        match self {
            E => W,
            W => E,
            same => same,
        }
    }

    /// The middle of the edge, and the way out of it.
    fn at(self) -> ((f64, f64), (f64, f64)) {
        let (middle, far) = (TILE.w / 2.0, TILE.w);
        match self {
            N => ((middle, 0.0), (0.0, -1.0)),
            E => ((far, middle), (1.0, 0.0)),
            S => ((middle, far), (0.0, 1.0)),
            W => ((0.0, middle), (-1.0, 0.0)),
        }
    }
}

/// Where the water runs at high water, and what is left of it at low water, both as seen from the
/// front.
const WATERS: [(&[Exit], &[Exit]); 24] = [
    (&[N, S], &[N, S]),
    (&[N, S], &[N]),
    (&[N, S], &[S]),
    (&[N, S], &[]),
    (&[E, W], &[E, W]),
    (&[E, W], &[E]),
    (&[E, W], &[W]),
    (&[E, W], &[]),
    (&[N, E], &[N, E]),
    (&[N, E], &[N]),
    (&[E, S], &[E, S]),
    (&[E, S], &[E]),
    (&[S, W], &[S, W]),
    (&[S, W], &[S]),
    (&[W, N], &[W, N]),
    (&[W, N], &[W]),
    (&[N, E, S], &[N, S]),
    (&[N, E, S], &[E, S]),
    (&[E, S, W], &[E, W]),
    (&[E, S, W], &[S, W]),
    (&[S, W, N], &[N, S]),
    (&[W, N, E], &[W, E]),
    (&[N, E, S, W], &[N, S]),
    (&[N, E, S, W], &[E, W]),
];

/// All 24 tiles.
pub fn tiles() -> Vec<Piece> {
    WATERS
        .iter()
        .zip(1..)
        .map(|(&(high, low), number)| {
            let low: Vec<Exit> = low.iter().map(|exit| exit.behind()).collect();
            Piece {
                name: format!("Tile {number}"),
                trim: TILE,
                bleed: BLEED,
                corner: CORNER,
                front: high_water(high, number).on_page(TILE, BLEED),
                back: low_water(&low, number).on_page(TILE, BLEED),
            }
        })
        .collect()
}

fn ground(s: &mut Sketch, colour: Colour) {
    let side = TILE.w + 2.0 * BLEED;
    s.fill(Path::rect(-BLEED, -BLEED, side, side), colour);
}

/// The middle lines of the channels: a bend or a straight between every two exits.
fn channels(exits: &[Exit]) -> Vec<Path> {
    let centre = (TILE.w / 2.0, TILE.h / 2.0);
    let outside = |exit: Exit| {
        let ((x, y), (dx, dy)) = exit.at();
        (x + dx * (BLEED + 2.0), y + dy * (BLEED + 2.0))
    };
    if let [exit] = exits {
        let (x, y) = outside(*exit);
        return vec![Path::line(x, y, centre.0, centre.1)];
    }
    let mut paths = Vec::new();
    for (i, &from) in exits.iter().enumerate() {
        for &to in &exits[i + 1..] {
            let (((fx, fy), (fdx, fdy)), ((tx, ty), (tdx, tdy))) = (from.at(), to.at());
            // A cubic with its control points on the way in looks like a quarter circle.
            let reach = 0.56 * TILE.w / 2.0;
            let bend = curve(
                (fx, fy),
                (fx - fdx * reach, fy - fdy * reach),
                (tx - tdx * reach, ty - tdy * reach),
                (tx, ty),
            );
            paths.push(bend);
        }
        let ((x, y), _) = from.at();
        let (ox, oy) = outside(from);
        paths.push(Path::line(x, y, ox, oy));
    }
    paths
}

/// Places in the four corners of a tile, clear of its channels.
const CORNERS: [(f64, f64); 4] = [(7.0, 9.0), (38.5, 9.5), (7.0, 41.0), (38.5, 41.0)];

fn high_water(exits: &[Exit], number: usize) -> Sketch {
    let mut s = Sketch::new();
    ground(&mut s, GRASS);
    let blade = mixed(GRASS, REED, 0.55);
    for i in 0..14 {
        let spread = |step: usize| ((number * 7 + i * step) % 47) as f64;
        s.put(tuft(blade), spread(19) - 1.0, spread(31), 0.42);
    }
    let paths = channels(exits);
    for (width, colour) in [(19.5, REED), (18.0, SAND), (15.6, SHALLOW), (12.0, TIDE)] {
        for path in &paths {
            s.line(path.clone(), colour, width);
        }
    }
    for exit in exits {
        let ((x, y), (dx, dy)) = exit.at();
        let (x, y) = (x - dx * 8.0, y - dy * 8.0);
        let crest = ripple((x - 0.8, x + 1.0), y + 0.5, (0.5, 4.6, 0.0));
        s.line(crest, mixed(TIDE, FOAM, 0.6), 0.42);
    }
    let at = |i: usize| CORNERS[(number + i) % 4];
    let (x, y) = at(0);
    s.put(reeds(), x, y, 0.24);
    s.put(reeds(), x + 3.4, y + 1.0, 0.17);
    if number.is_multiple_of(3) {
        let (x, y) = at(2);
        s.put(gull(CREAM), x, y - 3.0, 0.9);
    }
    s.text(text(41.6, 43.4, 2.3, REED, &number.to_string()).ending());
    s
}

fn low_water(exits: &[Exit], number: usize) -> Sketch {
    let mut s = Sketch::new();
    ground(&mut s, SAND);
    for i in 0..9 {
        let y = -2.0 + 5.9 * f64::from(i);
        let shape = (0.7, 17.0, 0.27 * f64::from(i) + number as f64 * 0.13);
        s.line(
            ripple((-BLEED, TILE.w + BLEED), y, shape),
            mixed(SAND, MUD, 0.75),
            0.35,
        );
    }
    let middle = TILE.w / 2.0;
    let paths = channels(exits);
    for (width, colour) in [(16.0, MUD), (8.0, mixed(MUD, PEAT, 0.45)), (6.4, SHALLOW)] {
        for path in &paths {
            s.line(path.clone(), colour, width);
        }
        if exits.len() < 2 {
            s.fill(
                Path::ellipse(middle, middle, width * 0.75, width * 0.55),
                colour,
            );
        }
    }
    if exits.is_empty() {
        let wreck = [(-7.0, 0.0), (-5.0, 3.0), (4.0, 3.0), (7.5, -1.5)];
        let hull: Vec<_> = wreck
            .iter()
            .map(|(x, y)| (middle + x + 4.0, 21.0 + y))
            .collect();
        s.fill(Path::polygon(&hull), INK);
        s.line(
            Path::line(middle + 2.5, 21.0, middle + 0.6, 11.0),
            PEAT,
            0.9,
        );
        s.fill(
            Path::polygon(&[
                (middle + 0.7, 11.2),
                (middle + 7.0, 14.2),
                (middle + 1.8, 16.4),
            ]),
            BRICK,
        );
    }
    for i in 0..3 {
        let (x, y) = CORNERS[(number + i) % 4];
        s.put(tuft(REED), x, y, 0.7);
    }
    s.text(text(41.6, 43.4, 2.3, PEAT, &number.to_string()).ending());
    s
}
