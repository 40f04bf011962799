//! Where pieces lie in a rectangle, before it is known where the rectangle lies on the sheet.

/// One piece's place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Spot {
    /// Which size.
    pub(crate) class: usize,
    /// On its side.
    pub(crate) turned: bool,
    /// The left of its trim from the left of the rectangle, mm.
    pub(crate) x: f64,
    /// The top of its trim from the top of the rectangle, mm.
    pub(crate) y: f64,
}

/// Pieces on one sheet.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Arrangement {
    /// What it is in a few words.
    pub(crate) title: String,
    /// The pieces.
    pub(crate) spots: Vec<Spot>,
}

/// A grid of this many columns and rows.
pub(crate) fn grid(
    class: usize,
    turned: bool,
    (columns, rows): (usize, usize),
    (pitch_x, pitch_y): (f64, f64),
) -> Vec<Spot> {
    let spot = |i: usize| Spot {
        class,
        turned,
        x: (i % columns) as f64 * pitch_x,
        y: (i / columns) as f64 * pitch_y,
    };
    (0..columns * rows).map(spot).collect()
}

/// How many pieces of this length fit side by side into this much, with gaps between them.
/// Rounding is forgiven.
pub(crate) fn fit(room: f64, length: f64, gap: f64) -> usize {
    ((room + gap + 1e-6) / (length + gap)).floor().max(0.0) as usize
}
