//! How rectangles come apart by straight-through cuts.

use tympan_sheet::{Front, Point, Rect};

/// Nearer than this is the same place, mm.
pub(super) const SAME: f64 = 1e-4;

/// Which way a cut runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum CutAxis {
    /// From top to bottom of the printed sheet.
    Upright,
    /// From left to right of the printed sheet.
    Level,
}

impl CutAxis {
    pub(super) fn other(self) -> Self {
        match self {
            Self::Upright => Self::Level,
            Self::Level => Self::Upright,
        }
    }

    /// From where to where a rectangle reaches across cuts that run this way.
    pub(super) fn span(self, rect: Rect<Front>) -> (f64, f64) {
        match self {
            Self::Upright => (rect.min.x, rect.max.x),
            Self::Level => (rect.min.y, rect.max.y),
        }
    }

    /// The rectangle with another reach across cuts that run this way.
    pub(super) fn with_span(self, rect: Rect<Front>, (from, to): (f64, f64)) -> Rect<Front> {
        match self {
            Self::Upright => Rect {
                min: Point::new(from, rect.min.y),
                max: Point::new(to, rect.max.y),
            },
            Self::Level => Rect {
                min: Point::new(rect.min.x, from),
                max: Point::new(rect.max.x, to),
            },
        }
    }
}

/// Cells that hang together.
#[derive(Clone, Debug)]
pub(super) struct Node {
    /// The rectangle that they just fill.
    pub(super) bounds: Rect<Front>,
    /// Which cells these are.
    pub(super) cells: Vec<usize>,
    /// Into which parts cuts of one way take them; `None` for a single cell.
    pub(super) split: Option<(CutAxis, Vec<Node>)>,
}

/// How the cells come apart, beginning with cuts that run this way if there are any; `None` where
/// straight-through cuts cannot take them apart.
pub(super) fn node(trims: &[Rect<Front>], cells: &[usize], first: CutAxis) -> Option<Node> {
    let bounds = cells.iter().map(|&i| trims[i]).reduce(join)?;
    if cells.len() == 1 {
        return Some(Node {
            bounds,
            cells: cells.to_vec(),
            split: None,
        });
    }
    [first, first.other()].into_iter().find_map(|axis| {
        let parts = apart(trims, cells, axis);
        if parts.len() < 2 {
            return None;
        }
        let children: Option<Vec<Node>> = parts
            .iter()
            .map(|part| node(trims, part, axis.other()))
            .collect();
        Some(Node {
            bounds,
            cells: cells.to_vec(),
            split: Some((axis, children?)),
        })
    })
}

/// The groups between which a cut can run through from end to end, in order.
fn apart(trims: &[Rect<Front>], cells: &[usize], axis: CutAxis) -> Vec<Vec<usize>> {
    let mut sorted = cells.to_vec();
    sorted.sort_by(|&a, &b| {
        let (a, b) = (axis.span(trims[a]), axis.span(trims[b]));
        a.0.total_cmp(&b.0)
    });
    let mut groups: Vec<Vec<usize>> = Vec::new();
    let mut reach = f64::NEG_INFINITY;
    for cell in sorted {
        let (from, to) = axis.span(trims[cell]);
        match groups.last_mut() {
            Some(group) if from < reach - SAME => group.push(cell),
            _ => groups.push(vec![cell]),
        }
        reach = reach.max(to);
    }
    groups
}

fn join(a: Rect<Front>, b: Rect<Front>) -> Rect<Front> {
    Rect {
        min: Point::new(a.min.x.min(b.min.x), a.min.y.min(b.min.y)),
        max: Point::new(a.max.x.max(b.max.x), a.max.y.max(b.max.y)),
    }
}
