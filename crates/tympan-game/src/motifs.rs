//! What lives on the marsh. Each motif stands on its origin and reaches up, about 40 mm high
//! unless it says otherwise; the tall ones look to the right.

use tympan_sheet::drawing::{Colour, Path};

use crate::palette::{BRICK, CREAM, DUSK, GLOW, GRASS, INK, MUD, OCHRE, PEAT, REED, SLATE};
use crate::sketch::{Sketch, blob, curve, smooth};

/// A heron, waiting.
pub(crate) fn heron() -> Sketch {
    let mut s = Sketch::new();
    s.line(
        Path::polyline(&[(-0.5, -15.0), (-1.2, -7.5), (-0.2, 0.0), (2.2, 0.0)]),
        INK,
        0.8,
    );
    s.line(
        Path::polyline(&[(2.5, -15.0), (3.2, -8.0), (2.4, 0.0), (5.0, 0.0)]),
        INK,
        0.8,
    );
    let body = [
        (-12.5, -11.8),
        (-6.0, -17.5),
        (0.5, -21.2),
        (6.0, -21.8),
        (7.6, -18.0),
        (4.0, -14.0),
        (-3.0, -12.6),
    ];
    s.fill(blob(&body), SLATE);
    let neck = curve((5.6, -19.6), (12.6, -25.5), (0.6, -28.5), (5.6, -35.4));
    s.line(neck, SLATE, 2.5);
    let wing = [
        (-13.4, -11.2),
        (-6.5, -16.8),
        (0.0, -19.4),
        (4.4, -18.0),
        (2.0, -15.2),
        (-5.0, -13.6),
    ];
    s.fill(blob(&wing), INK);
    s.line(
        curve((-8.0, -13.6), (-4.0, -15.4), (-1.0, -16.6), (2.4, -16.9)),
        SLATE,
        0.45,
    );
    for (x, y) in [(6.7, -17.0), (7.6, -19.0), (5.4, -15.4)] {
        s.line(
            curve(
                (x, y),
                (x + 0.5, y + 1.4),
                (x + 0.3, y + 2.4),
                (x - 0.3, y + 3.6),
            ),
            CREAM,
            0.4,
        );
    }
    s.line(
        curve((6.4, -36.8), (3.4, -37.4), (0.6, -36.4), (-2.4, -33.8)),
        INK,
        0.7,
    );
    s.line(
        curve((6.4, -36.9), (3.4, -38.0), (1.2, -37.4), (-1.0, -36.0)),
        INK,
        0.5,
    );
    s.fill(
        blob(&[
            (4.2, -35.4),
            (5.6, -37.5),
            (8.2, -37.5),
            (9.8, -36.0),
            (8.4, -34.6),
            (5.8, -34.1),
        ]),
        SLATE,
    );
    s.fill(
        Path::polygon(&[(8.9, -36.9), (18.4, -34.7), (8.7, -34.5)]),
        OCHRE,
    );
    s.line(Path::line(9.4, -35.6, 15.5, -35.0), INK, 0.22);
    s.disc(8.0, -36.1, 0.62, CREAM);
    s.disc(8.1, -36.1, 0.36, INK);
    s
}

/// A clump of bulrushes.
pub(crate) fn reeds() -> Sketch {
    let mut s = Sketch::new();
    for (x, tip, tall) in [
        (-7.0, -15.0, 24.0),
        (7.5, 15.5, 22.0),
        (-2.5, -9.0, 17.0),
        (3.0, 10.0, 18.0),
    ] {
        s.fill(leaf(x, tip, tall), GRASS);
    }
    for (x, tip, tall) in [
        (-4.5, -11.0, 31.0),
        (4.0, 11.5, 30.0),
        (0.8, 4.0, 25.0),
        (-1.0, -4.5, 23.0),
    ] {
        s.fill(leaf(x, tip, tall), REED);
    }
    for (x, top, tall, head) in [
        (-5.5, -7.2, 34.0, 6.8),
        (0.0, 0.4, 41.0, 7.6),
        (5.2, 6.6, 36.5, 7.0),
    ] {
        let neck = top + (x - top) * 0.1;
        s.line(
            curve((x, 0.0), (x, -tall * 0.4), (top, -tall * 0.6), (top, -tall)),
            REED,
            0.75,
        );
        s.line(
            Path::line(neck, -tall + 2.4, neck, -tall + 2.4 + head),
            PEAT,
            2.7,
        );
        s.line(
            Path::line(neck - 0.6, -tall + 2.6, neck - 0.6, -tall + 1.0 + head),
            MUD,
            0.45,
        );
    }
    s
}

/// One long blade.
fn leaf(x: f64, tip: f64, tall: f64) -> Path {
    let lean = tip - x;
    let right = curve(
        (x + 0.9, 0.0),
        (x + 1.1, -tall * 0.5),
        (x + lean * 0.4 + 0.6, -tall * 0.8),
        (tip, -tall),
    );
    let left = curve(
        (tip, -tall),
        (x + lean * 0.25 - 0.8, -tall * 0.75),
        (x - 1.1, -tall * 0.45),
        (x - 0.9, 0.0),
    );
    let mut path = right;
    path.segments.extend(left.segments.into_iter().skip(1));
    path
}

/// A bell buoy, leaning in the stream. It floats: its origin lies on the water line.
pub(crate) fn bell() -> Sketch {
    let mut s = Sketch::new();
    s.line(
        Path::polyline(&[(-9.5, -5.0), (-1.6, -33.0), (1.6, -33.0), (9.5, -5.0)]),
        INK,
        1.3,
    );
    s.line(Path::line(-6.0, -17.0, 6.0, -17.0), INK, 0.8);
    s.line(Path::line(0.0, -33.0, 0.0, -25.5), INK, 0.9);
    let side = [
        (0.0, -26.5),
        (2.8, -25.8),
        (3.9, -22.5),
        (4.4, -17.6),
        (7.0, -13.4),
    ];
    let mut outline: Vec<(f64, f64)> = side.iter().rev().map(|(x, y)| (-x, *y)).collect();
    outline.extend(side.iter().skip(1));
    let mut dome = smooth(&outline);
    dome.segments.push(tympan_sheet::drawing::Segment::Close);
    s.disc(0.0, -12.6, 1.7, INK);
    s.fill(dome, OCHRE);
    s.line(
        curve((-2.6, -23.6), (-2.9, -20.0), (-3.4, -17.4), (-4.9, -14.8)),
        GLOW,
        0.8,
    );
    s.line(Path::line(-7.4, -13.1, 7.4, -13.1), PEAT, 1.1);
    s.disc(0.0, -35.6, 2.3, BRICK);
    s.disc(-0.6, -36.2, 0.7, CREAM);
    s.fill(
        blob(&[
            (-13.5, -5.6),
            (0.0, -6.4),
            (13.5, -5.6),
            (11.4, 1.0),
            (7.0, 4.5),
            (-7.0, 4.5),
            (-11.4, 1.0),
        ]),
        BRICK,
    );
    s.line(
        curve((-12.6, -2.4), (-5.0, -1.2), (5.0, -1.2), (12.6, -2.4)),
        CREAM,
        1.0,
    );
    s
}

/// A lantern on a post, lit.
pub(crate) fn lantern() -> Sketch {
    let mut s = Sketch::new();
    s.line(Path::line(-7.0, 0.0, -7.0, -42.0), PEAT, 1.9);
    s.line(
        curve((-7.0, -39.0), (-3.0, -43.5), (3.0, -43.0), (4.0, -37.4)),
        PEAT,
        1.2,
    );
    s.line(
        curve((-7.0, -31.0), (-5.0, -34.0), (-3.4, -37.0), (-3.0, -40.6)),
        PEAT,
        0.8,
    );
    s.put(lamp(), 4.0, -18.5, 1.0);
    s
}

/// A lantern by itself, 20 mm high, with its glow.
pub(crate) fn lamp() -> Sketch {
    let mut s = Sketch::new();
    s.line(Path::circle(0.0, -17.6, 1.3), INK, 0.7);
    s.fill(
        Path::polygon(&[(-2.0, -16.6), (2.0, -16.6), (5.4, -12.8), (-5.4, -12.8)]),
        INK,
    );
    s.fill(
        Path::polygon(&[(-4.4, -12.8), (4.4, -12.8), (5.0, -2.2), (-5.0, -2.2)]),
        GLOW,
    );
    s.fill(
        blob(&[
            (0.0, -10.4),
            (1.7, -6.6),
            (1.0, -4.0),
            (-1.0, -4.0),
            (-1.7, -6.6),
        ]),
        OCHRE,
    );
    s.disc(0.0, -4.9, 0.9, CREAM);
    for x in [-1.0, 0.0, 1.0_f64] {
        s.line(
            Path::line(4.4 * x, -12.8, 5.0 * x, -2.2),
            INK,
            if x == 0.0 { 0.35 } else { 0.8 },
        );
    }
    s.fill(Path::rounded_rect(-5.9, -2.6, 11.8, 2.6, 0.6), INK);
    s
}

/// The glow about a lantern: paint it before the lantern.
pub(crate) fn glow(radius: f64, sky: Colour) -> Sketch {
    let mut s = Sketch::new();
    for (part, strength) in [(1.0, 0.16), (0.74, 0.34), (0.5, 0.6)] {
        s.disc(0.0, 0.0, radius * part, mixed(sky, GLOW, strength));
    }
    s
}

/// A ferry, about 44 mm long and 34 mm high, under way to the right. It floats.
pub(crate) fn ferry(flag: Colour) -> Sketch {
    let mut s = Sketch::new();
    s.line(Path::line(-3.0, -6.0, -3.0, -35.0), PEAT, 1.2);
    s.fill(
        blob(&[
            (-2.2, -31.5),
            (7.0, -27.0),
            (12.5, -18.0),
            (13.2, -10.8),
            (4.0, -9.4),
            (-2.2, -9.8),
        ]),
        CREAM,
    );
    s.line(
        curve((-2.0, -24.5), (3.0, -24.6), (7.0, -23.2), (10.2, -21.8)),
        flag,
        1.6,
    );
    s.line(
        curve((-2.0, -18.2), (4.0, -18.6), (9.0, -16.8), (12.6, -15.6)),
        flag,
        1.6,
    );
    s.fill(
        Path::polygon(&[
            (-3.0, -35.4),
            (-12.0, -33.6),
            (-9.0, -31.9),
            (-12.0, -30.4),
            (-3.0, -30.8),
        ]),
        flag,
    );
    s.fill(
        Path::polygon(&[(-16.5, -5.5), (-16.0, -13.0), (-6.5, -13.0), (-6.0, -5.5)]),
        OCHRE,
    );
    s.fill(
        Path::polygon(&[(-18.0, -12.6), (-15.4, -15.6), (-7.0, -15.6), (-4.8, -12.6)]),
        BRICK,
    );
    s.fill(Path::rounded_rect(-13.4, -11.0, 4.2, 3.6, 0.5), DUSK);
    for (x, colour) in [(2.0, SLATE), (6.4, REED), (10.6, BRICK)] {
        s.fill(
            blob(&[
                (x - 1.7, -5.0),
                (x - 1.1, -8.2),
                (x + 1.1, -8.2),
                (x + 1.7, -5.0),
            ]),
            colour,
        );
        s.disc(x, -9.2, 1.25, SAND_SKIN);
    }
    let hull = [
        (-22.5, -7.6),
        (-10.0, -5.4),
        (8.0, -5.4),
        (22.5, -8.4),
        (18.6, 0.6),
        (14.0, 3.0),
        (-14.0, 3.0),
        (-19.0, 0.0),
    ];
    s.fill(Path::polygon(&hull), INK);
    s.line(
        Path::polyline(&[(-20.6, -4.2), (-10.0, -2.6), (9.0, -2.6), (20.2, -4.8)]),
        CREAM,
        0.8,
    );
    s
}

const SAND_SKIN: Colour = MUD;

/// A house on stilts, 20 mm high and 16 mm wide.
pub(crate) fn house(wall: Colour, roof: Colour) -> Sketch {
    let mut s = Sketch::new();
    for x in [-6.0, -2.0, 2.0, 6.0] {
        s.line(Path::line(x, 0.0, x, -6.0), PEAT, 0.8);
    }
    s.line(Path::line(-8.6, -5.4, 8.6, -5.4), PEAT, 1.0);
    s.fill(Path::rect(-6.6, -13.6, 13.2, 8.0), wall);
    s.fill(
        Path::polygon(&[(-8.2, -13.2), (-4.2, -19.6), (4.2, -19.6), (8.2, -13.2)]),
        roof,
    );
    s.fill(Path::rect(3.0, -22.4, 2.0, 4.6), roof);
    s.fill(Path::rounded_rect(-4.8, -11.6, 3.4, 3.4, 0.3), GLOW);
    s.fill(Path::rect(1.6, -11.6, 3.0, 6.0), INK);
    s
}

/// A gull, far off: two strokes, 8 mm across.
pub(crate) fn gull(colour: Colour) -> Sketch {
    let mut s = Sketch::new();
    s.line(
        curve((-4.0, -1.0), (-2.4, -2.8), (-0.8, -1.8), (0.0, 0.0)),
        colour,
        0.5,
    );
    s.line(
        curve((0.0, 0.0), (0.8, -1.8), (2.4, -2.8), (4.0, -1.4)),
        colour,
        0.5,
    );
    s
}

/// A tuft of marsh grass, 6 mm high.
pub(crate) fn tuft(colour: Colour) -> Sketch {
    let mut s = Sketch::new();
    for (tip, tall) in [(-3.4, 3.6), (-1.6, 5.6), (0.2, 6.4), (2.0, 5.2), (3.6, 3.2)] {
        s.line(
            curve(
                (tip * 0.25, 0.0),
                (tip * 0.3, -tall * 0.5),
                (tip * 0.6, -tall * 0.8),
                (tip, -tall),
            ),
            colour,
            0.55,
        );
    }
    s
}

/// A crescent moon of radius `r`, its horns to the left, before a sky of this colour.
pub(crate) fn moon(r: f64, sky: Colour) -> Sketch {
    let mut s = Sketch::new();
    s.disc(0.0, 0.0, r, CREAM);
    s.disc(-r * 0.42, -r * 0.18, r * 0.82, sky);
    s
}

/// A colour between two others: all `a` at 0, all `b` at 1.
pub(crate) fn mixed(a: Colour, b: Colour, part: f32) -> Colour {
    let rgb = |c: Colour| match c {
        Colour::Grey(g) => [g, g, g],
        Colour::Rgb(r, g, b) => [r, g, b],
    };
    let (a, b) = (rgb(a), rgb(b));
    let mix = |i: usize| a[i] + (b[i] - a[i]) * part;
    Colour::Rgb(mix(0), mix(1), mix(2))
}
