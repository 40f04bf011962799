//! The search for the plans that waste least.

mod arrangement;
mod check;
mod class;
mod guillotine;
mod mixed;
mod rows;
mod single;

use tympan_sheet::{Front, Point, QuarterTurn, Rect, Shape, Size};

use self::arrangement::Arrangement;
pub(crate) use self::check::check_job;
use self::class::Class;
pub(crate) use self::class::classes;
use crate::cell_bleed;
use crate::fold_over::{FoldAxis, FoldLine};
use crate::job::{Job, Margins};
use crate::order;
use crate::plan::{Cell, Group, Plan};
use crate::problem::Problems;
use crate::quality::Quality;

/// The best plans for a job, the best one first, at most so many: the one that needs fewest
/// sheets for good pieces, then the one that is cut with fewest cuts.
///
/// # Errors
/// [`Problems`], all at once, where some piece has no place on the sheet.
pub fn plan(job: &Job, quality: &dyn Quality, most: usize) -> Result<Vec<Plan>, Problems> {
    let mut ways = ways(job);
    check::check(job, &ways)?;
    if let Some(centre) = quality.centre().filter(|_| job.is_two_sided()) {
        for way in &mut ways {
            way.middle = centre;
        }
    }
    let classes = classes(&job.pieces);
    let mut plans: Vec<Plan> = Vec::new();
    for way in &ways {
        for candidate in candidates(job, &classes, way.room_size()) {
            let plan = build(job, &classes, way, candidate);
            let seen = |p: &Plan| p.groups == plan.groups && p.fold == plan.fold;
            if !plans.iter().any(seen) {
                plans.push(plan);
            }
        }
    }
    plans.iter_mut().for_each(|plan| plan.weigh(quality));
    plans.sort_by(|a, b| a.rank(job.bleed).total_cmp(&b.rank(job.bleed)));
    plans.truncate(most.max(1));
    Ok(plans)
}

/// One way to use the sheet: where pieces may be trimmed, and how the sheet is folded.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Way {
    /// Where print may run.
    usable: Rect<Front>,
    /// Where trims may lie.
    room: Rect<Front>,
    /// The middle that the pieces are gathered about.
    middle: Point<Front>,
    fold: Option<FoldLine>,
}

impl Way {
    fn room_size(&self) -> Size {
        self.room.size()
    }
}

/// The ways that a job may use the sheet: with the full bleed all round, then with the least that
/// will do.
fn ways(job: &Job) -> Vec<Way> {
    let size = job.sheet.size;
    let usable = job.sheet.usable(job.is_two_sided());
    let whole = [(usable, size.centre(), None)];
    let folded = job.fold_over.map(|fold| {
        let axes = match fold.along {
            Some(axis) => [axis; 2],
            None => [FoldAxis::Upright, FoldAxis::Level],
        };
        axes.map(|axis| {
            let line = FoldLine::middle(axis, size, fold.allowance);
            let half = line.half(usable, size);
            (half, half.centre(), Some(line))
        })
    });
    let halves: &[_] = folded.as_ref().map_or(&whole, |both| &both[..]);
    let mut ways = Vec::new();
    for bleed in [job.bleed, job.least_bleed.min(job.bleed)] {
        for &(usable, middle, fold) in halves {
            ways.push(Way {
                usable,
                room: usable.grown(-bleed),
                middle,
                fold,
            });
        }
    }
    ways
}

/// Arrangements with how many sheets each is printed on, under one title.
struct Candidate {
    title: String,
    groups: Vec<(Arrangement, usize)>,
}

fn candidates(job: &Job, classes: &[Class], room: Size) -> Vec<Candidate> {
    if let [class] = classes {
        let alone = |arrangement: Arrangement| {
            let sheets = class.count.div_ceil(arrangement.spots.len());
            Candidate {
                title: arrangement.title.clone(),
                groups: vec![(arrangement, sheets)],
            }
        };
        return single::arrangements(class, 0, room, job.gutter, job.method)
            .into_iter()
            .map(alone)
            .collect();
    }
    let mut all = Vec::new();
    let each = |(k, class): (usize, &Class)| {
        let best = single::arrangements(class, k, room, job.gutter, job.method)
            .into_iter()
            .next()?;
        let sheets = class.count.div_ceil(best.spots.len());
        Some((best, sheets))
    };
    if let Some(groups) = classes.iter().enumerate().map(each).collect() {
        all.push(Candidate {
            title: "each size on its own sheets".to_owned(),
            groups,
        });
    }
    if let Some(groups) = mixed::arrangements(classes, room, job.gutter) {
        all.push(Candidate {
            title: "sizes together on the sheets".to_owned(),
            groups,
        });
    }
    all
}

fn build(job: &Job, classes: &[Class], way: &Way, candidate: Candidate) -> Plan {
    let mut groups = Vec::new();
    let mut places: Vec<Vec<Vec<usize>>> = vec![Vec::new(); classes.len()];
    for (arrangement, sheets) in &candidate.groups {
        let mut placed: Vec<(usize, Cell)> = arrangement
            .spots
            .iter()
            .map(|spot| (spot.class, spot.cell(classes[spot.class].shape)))
            .collect();
        placed.sort_by(|(_, a), (_, b)| {
            let (a, b) = (a.trim.min, b.trim.min);
            a.y.total_cmp(&b.y).then(a.x.total_cmp(&b.x))
        });
        for (k, of_class) in places.iter_mut().enumerate() {
            of_class.push((0..placed.len()).filter(|&i| placed[i].0 == k).collect());
        }
        let cells: Vec<Cell> = placed.into_iter().map(|(_, cell)| cell).collect();
        groups.push(Group {
            sheets: vec![vec![None; cells.len()]; *sheets],
            cells,
        });
    }
    for (class, places) in classes.iter().zip(&places) {
        let units = order::units(&job.pieces, |piece| class.pieces.contains(&piece));
        order::fill(&mut groups, places, &units, job.order);
    }
    for group in &mut groups {
        group.drop_unused();
        gather(&mut group.cells, way);
        cell_bleed::set(&mut group.cells, job.bleed, way.usable);
    }
    groups.retain(|group| !group.cells.is_empty());
    Plan::new(job, candidate.title, groups, way.fold)
}

/// Brings a block of cells as near to the middle as the room allows.
fn gather(cells: &mut [Cell], way: &Way) {
    let Some(block) = cells.iter().map(|cell| cell.trim).reduce(|a, b| Rect {
        min: Point::new(a.min.x.min(b.min.x), a.min.y.min(b.min.y)),
        max: Point::new(a.max.x.max(b.max.x), a.max.y.max(b.max.y)),
    }) else {
        return;
    };
    let shift = |middle: f64, (from, to): (f64, f64), (low, high): (f64, f64)| {
        let half = (to - from) / 2.0;
        let start = (middle - half).min(high - 2.0 * half).max(low);
        start - from
    };
    let (room, middle) = (way.room, way.middle);
    let x = shift(
        middle.x,
        (block.min.x, block.max.x),
        (room.min.x, room.max.x),
    );
    let y = shift(
        middle.y,
        (block.min.y, block.max.y),
        (room.min.y, room.max.y),
    );
    for cell in cells {
        let at = Point::new(cell.trim.min.x + x, cell.trim.min.y + y);
        cell.trim = Rect::at(at, cell.trim.size());
    }
}

impl arrangement::Spot {
    /// The cell with its trim told from the top left of the block.
    fn cell(&self, shape: Shape) -> Cell {
        let turn = if self.turned {
            QuarterTurn::Clockwise
        } else {
            QuarterTurn::Upright
        };
        Cell {
            shape,
            turn,
            trim: Rect::at(Point::new(self.x, self.y), turn.sheet_size(shape.size())),
            bleed: Margins::default(),
            good: 1.0,
        }
    }
}
