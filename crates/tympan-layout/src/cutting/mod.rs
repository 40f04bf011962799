//! How a stack of sheets is cut on a guillotine or a sliding trimmer.
//!
//! Print wanders on the sheet, so the sheet's own edges are no guide. The first two cuts follow
//! the marks, sheet by sheet; they make two edges that are true to the print: the lay. From then
//! on an edge lies against the stop, and a few sheets at a time are cut by the stop's setting
//! alone. What lies against the stop always includes the lay edge, so errors do not add up from
//! cut to cut. Cuts that need the same setting follow each other.

mod tree;
mod words;

use tympan_sheet::{Front, Point, Rect};

pub use self::tree::CutAxis;
use self::tree::{Node, SAME, node};
pub use self::words::{CAUTIONS, Row};
use crate::plan::{Group, Plan};

/// What cuts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trimmer {
    /// How many sheets it takes at a time once the lay is cut.
    pub sheets_at_once: usize,
    /// The smallest setting of its stop, mm: less cannot be held down while it is cut.
    pub least_stop: f64,
}

impl Default for Trimmer {
    /// Three sheets of card at a time, and 15 mm (common practice; what the maker says counts).
    fn default() -> Self {
        Self {
            sheets_at_once: 3,
            least_stop: 15.0,
        }
    }
}

/// The cuts that take the sheets of one group apart.
#[derive(Clone, Debug, PartialEq)]
pub struct Cutting {
    /// What is cut: the sheet, or its front half where it is folded.
    pub sheet: Rect<Front>,
    /// The steps in order.
    pub steps: Vec<Step>,
    /// Which part becomes which cell's piece, by the cell's place in the group.
    pub pieces: Vec<PartId>,
}

/// A part of the sheet between cuts. The whole sheet is part 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct PartId(pub usize);

/// One setting of the stop, and all that is cut at it.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// Its number, from 1.
    pub number: usize,
    /// Which way the cuts run on the printed sheet.
    pub axis: CutAxis,
    /// Whether the stack has to be turned a quarter since the step before.
    pub turn: bool,
    /// Where the stop is set.
    pub stop: Stop,
    /// How many sheets are cut at a time.
    pub sheets_at_once: usize,
    /// What is cut.
    pub cuts: Vec<Cut>,
}

/// Where a cut is made.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Stop {
    /// Along the printed marks.
    Marks,
    /// So far, mm, from the edge that lies against the stop: the left edge of the part for
    /// upright cuts, its top edge for level ones, as seen on the front.
    At(f64),
}

/// One cut through one part.
#[derive(Clone, Debug, PartialEq)]
pub struct Cut {
    /// What is cut.
    pub part: PartId,
    /// What then lies left of the cut, or above it.
    pub near: Off,
    /// What then lies right of the cut, or below it.
    pub far: Off,
    /// Where the cut begins on the printed sheet.
    pub from: Point<Front>,
    /// Where it ends.
    pub to: Point<Front>,
}

/// One side of a cut.
#[derive(Clone, Debug, PartialEq)]
pub enum Off {
    /// To be thrown away.
    Waste,
    /// To be kept.
    Part {
        /// Which part it is from now on.
        part: PartId,
        /// The cells in it.
        cells: Vec<usize>,
    },
}

impl Plan {
    /// How the sheets of a group are cut; `None` where straight-through cuts cannot do it, where
    /// they are cut already, or where there is no such group.
    pub fn cutting(&self, group: usize, trimmer: &Trimmer) -> Option<Cutting> {
        if self.pre_cut {
            return None;
        }
        let mut sheet = Rect::whole(self.sheet.size);
        if let Some(fold) = self.fold {
            sheet = fold.front_half(sheet);
        }
        Cutting::of(self.groups.get(group)?, sheet, trimmer)
    }
}

impl Cutting {
    /// The way with fewest settings of the stop, then with fewest cuts, then with fewest turns.
    pub(crate) fn of(group: &Group, sheet: Rect<Front>, trimmer: &Trimmer) -> Option<Self> {
        let trims: Vec<Rect<Front>> = group.cells.iter().map(|c| c.trim).collect();
        let cells: Vec<usize> = (0..trims.len()).collect();
        let ways = [CutAxis::Upright, CutAxis::Level].map(|first| {
            let root = node(&trims, &cells, first)?;
            let mut work = Work::new(sheet, trims.len(), trimmer.sheets_at_once.max(1));
            work.lay(&root);
            work.stops(root, first);
            Some(Self {
                sheet,
                steps: work.steps,
                pieces: work.pieces,
            })
        });
        ways.into_iter().flatten().min_by_key(|c| {
            let turns = c.steps.iter().filter(|step| step.turn).count();
            (c.steps.len(), c.cuts(), turns)
        })
    }

    /// How many cuts one sheet takes.
    pub fn cuts(&self) -> usize {
        self.steps.iter().map(|step| step.cuts.len()).sum()
    }

    /// The steps whose setting is smaller than the trimmer can hold.
    pub fn too_narrow(&self, trimmer: &Trimmer) -> Vec<usize> {
        let narrow = |step: &&Step| matches!(step.stop, Stop::At(at) if at < trimmer.least_stop);
        self.steps.iter().filter(narrow).map(|s| s.number).collect()
    }
}

/// A part that is not yet cut to its cells.
struct Open {
    part: PartId,
    region: Rect<Front>,
    node: Node,
}

struct Work {
    sheet: Rect<Front>,
    at_once: usize,
    parts: usize,
    steps: Vec<Step>,
    pieces: Vec<PartId>,
    last_axis: Option<CutAxis>,
}

impl Work {
    fn new(sheet: Rect<Front>, cells: usize, at_once: usize) -> Self {
        Self {
            sheet,
            at_once,
            parts: 1,
            steps: Vec::new(),
            pieces: vec![PartId(0); cells],
            last_axis: None,
        }
    }

    fn step(&mut self, axis: CutAxis, stop: Stop, cuts: Vec<Cut>) {
        self.steps.push(Step {
            number: self.steps.len() + 1,
            axis,
            turn: self.last_axis.is_some_and(|last| last != axis),
            stop,
            sheets_at_once: match stop {
                Stop::Marks => 1,
                Stop::At(_) => self.at_once,
            },
            cuts,
        });
        self.last_axis = Some(axis);
    }

    /// The two cuts along the marks. The longer one comes first: the other is squared against it.
    fn lay(&mut self, root: &Node) {
        let size = root.bounds.size();
        let first = if size.h >= size.w {
            CutAxis::Upright
        } else {
            CutAxis::Level
        };
        for axis in [first, first.other()] {
            let (from, to) = axis.span(self.sheet);
            let at = axis.span(root.bounds).0;
            if at > from + SAME {
                let region = self.sheet;
                let kept = Off::Part {
                    part: PartId(0),
                    cells: root.cells.clone(),
                };
                let cut = cut(PartId(0), region, axis, at, Off::Waste, kept);
                self.step(axis, Stop::Marks, vec![cut]);
                self.sheet = axis.with_span(self.sheet, (at, to));
            }
        }
    }

    /// Everything after the lay: cuts one way through all parts, then the other way, until every
    /// part is a piece.
    fn stops(&mut self, root: Node, first: CutAxis) {
        let mut open = vec![Open {
            part: PartId(0),
            region: self.sheet,
            node: root,
        }];
        let mut axis = first;
        while !open.is_empty() {
            let mut cuts: Vec<(f64, Cut)> = Vec::new();
            let mut next = Vec::new();
            for part in open {
                self.apart(part, axis, &mut cuts, &mut next);
            }
            // Stable: what has the same setting stays in order.
            cuts.sort_by(|a, b| b.0.total_cmp(&a.0));
            let mut same: Vec<Cut> = Vec::new();
            let mut setting = f64::NAN;
            for (at, cut) in cuts {
                if !same.is_empty() && (setting - at).abs() > SAME {
                    self.step(axis, Stop::At(setting), std::mem::take(&mut same));
                }
                if same.is_empty() {
                    setting = at;
                }
                same.push(cut);
            }
            if !same.is_empty() {
                self.step(axis, Stop::At(setting), same);
            }
            open = next;
            axis = axis.other();
        }
    }

    /// All cuts one way through one part, from the far end to the lay edge, and what is left to be
    /// cut the other way.
    fn apart(
        &mut self,
        open: Open,
        axis: CutAxis,
        cuts: &mut Vec<(f64, Cut)>,
        next: &mut Vec<Open>,
    ) {
        let Open { part, region, node } = open;
        let children = match node.split {
            Some((along, children)) if along == axis => children,
            _ => vec![node],
        };
        let (near_edge, mut far_edge) = axis.span(region);
        let mut held: Vec<usize> = children.iter().flat_map(|c| c.cells.clone()).collect();
        for (i, child) in children.into_iter().enumerate().rev() {
            let (from, to) = axis.span(child.bounds);
            let kept = |part: PartId, cells: &[usize]| Off::Part {
                part,
                cells: cells.to_vec(),
            };
            if to < far_edge - SAME {
                let here = axis.with_span(region, (near_edge, far_edge));
                let cut = cut(part, here, axis, to, kept(part, &held), Off::Waste);
                cuts.push((to - near_edge, cut));
                far_edge = to;
            }
            let mut id = part;
            if i > 0 || from > near_edge + SAME {
                id = PartId(self.parts);
                self.parts += 1;
                held.retain(|cell| !child.cells.contains(cell));
                let near = if i > 0 { kept(part, &held) } else { Off::Waste };
                let here = axis.with_span(region, (near_edge, far_edge));
                let cut = cut(part, here, axis, from, near, kept(id, &child.cells));
                cuts.push((from - near_edge, cut));
                far_edge = from;
            }
            let region = axis.with_span(region, (from, to));
            self.keep(id, region, child, next);
        }
    }

    fn keep(&mut self, part: PartId, region: Rect<Front>, node: Node, next: &mut Vec<Open>) {
        if node.split.is_none() {
            self.pieces[node.cells[0]] = part;
            let done = region.size().is_close(node.bounds.size(), SAME);
            if done {
                return;
            }
        }
        next.push(Open { part, region, node });
    }
}

fn cut(part: PartId, region: Rect<Front>, axis: CutAxis, at: f64, near: Off, far: Off) -> Cut {
    let (from, to) = match axis {
        CutAxis::Upright => (Point::new(at, region.min.y), Point::new(at, region.max.y)),
        CutAxis::Level => (Point::new(region.min.x, at), Point::new(region.max.x, at)),
    };
    Cut {
        part,
        near,
        far,
        from,
        to,
    }
}
