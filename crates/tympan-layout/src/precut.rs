//! Sheets that are perforated or die-cut already, told by the user's own measures.
//!
//! Nothing is searched for: the places are where they are. Both sides have to be right against
//! the sheet's own edges, so both need the correction that readings against the edges give.

use serde::{Deserialize, Serialize};
use tympan_sheet::{Front, Length, Point, QuarterTurn, Rect, Shape, Size};

use crate::cell_bleed;
use crate::job::{Job, Margins};
use crate::order;
use crate::plan::{Cell, Group, Plan};
use crate::problem::{Problem, Problems};
use crate::quality::Quality;
use crate::search::{check_job, classes};

/// A sheet with places that are cut or perforated in advance.
///
/// ```
/// let stock: tympan_layout::PreCut = serde_json::from_str(
///     r#"{
///         "name": "ten to a sheet",
///         "sheet": { "w": 210, "h": 297 },
///         "grids": [{
///             "shape": { "form": "rect", "size": { "w": 85, "h": 54 } },
///             "columns": 2, "rows": 5,
///             "left": 15, "top": 13.5, "pitch_x": 95, "pitch_y": 54
///         }]
///     }"#,
/// )?;
/// assert_eq!(stock.places().len(), 10);
/// # Ok::<(), serde_json::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PreCut {
    /// What the user calls it.
    pub name: String,
    /// The sheet's size, mm, in the orientation in which it is measured and printed.
    pub sheet: Size,
    /// Its places.
    pub grids: Vec<PreCutGrid>,
}

/// Places in columns and rows, measured from the sheet's top left corner.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PreCutGrid {
    /// What falls out of one place, as it lies on the sheet.
    pub shape: Shape,
    /// How many stand side by side.
    pub columns: usize,
    /// How many stand above each other.
    pub rows: usize,
    /// From the sheet's left edge to the first place, mm.
    pub left: f64,
    /// From the sheet's top edge to the first place, mm.
    pub top: f64,
    /// From the left of one place to the left of the next, mm.
    #[serde(default)]
    pub pitch_x: f64,
    /// From the top of one place to the top of the next, mm.
    #[serde(default)]
    pub pitch_y: f64,
}

/// A piece may differ from its place by so much, mm.
const TOLERANCE: f64 = 0.5;
/// More places than this are a slip of the pen.
const MOST_PLACES: usize = 5000;

impl PreCut {
    /// All places: what falls out, and where.
    pub fn places(&self) -> Vec<(Shape, Rect<Front>)> {
        let mut places = Vec::new();
        for grid in &self.grids {
            for row in 0..grid.rows {
                for column in 0..grid.columns {
                    let at = Point::new(
                        grid.left + column as f64 * grid.pitch_x,
                        grid.top + row as f64 * grid.pitch_y,
                    );
                    places.push((grid.shape, Rect::at(at, grid.shape.size())));
                }
            }
        }
        places
    }

    /// Whether the measures make sense.
    ///
    /// # Errors
    /// [`Problems`]: what contradicts what, all at once.
    pub fn check(&self) -> Result<(), Problems> {
        let mut wrong = Vec::new();
        let above_zero = |mm: f64| mm.is_finite() && mm > 0.0;
        if !above_zero(self.sheet.w) || !above_zero(self.sheet.h) {
            wrong.push("the sheet has no size".to_owned());
        }
        let mut count = 0_usize;
        for (i, grid) in self.grids.iter().enumerate() {
            count = count.saturating_add(grid.columns.saturating_mul(grid.rows));
            let numbers = [grid.left, grid.top, grid.pitch_x, grid.pitch_y];
            if !grid.shape.is_sound() || numbers.iter().any(|mm| !mm.is_finite()) {
                wrong.push(format!("places {} have no size", i + 1));
            }
        }
        match count {
            0 => wrong.push("it has no places".to_owned()),
            n if n > MOST_PLACES => wrong.push(format!("{n} places are too many")),
            _ if wrong.is_empty() => wrong.extend(self.clashes()),
            _ => {}
        }
        if wrong.is_empty() {
            return Ok(());
        }
        let problem = |what| Problem::PreCut {
            stock: self.name.clone(),
            what,
        };
        Err(Problems(wrong.into_iter().map(problem).collect()))
    }

    /// Places that reach over the sheet's edge or into each other, the first of each kind.
    fn clashes(&self) -> Vec<String> {
        let places = self.places();
        let sheet = Rect::<Front>::whole(self.sheet).grown(1e-6);
        let mut clashes = Vec::new();
        let over = |(_, rect): &&(Shape, Rect<Front>)| {
            !sheet.contains(rect.min) || !sheet.contains(rect.max)
        };
        if let Some((shape, rect)) = places.iter().find(over) {
            clashes.push(format!(
                "the place of {shape} at {} from the left and {} from the top reaches over the \
                 sheet's edge",
                Length::mm(rect.min.x),
                Length::mm(rect.min.y)
            ));
        }
        let overlaps = |a: Rect<Front>, b: Rect<Front>| {
            a.meet(b)
                .is_some_and(|m| m.size().w > 1e-6 && m.size().h > 1e-6)
        };
        let round = |shape: Shape| !matches!(shape, Shape::Rect { .. });
        for (i, (shape, a)) in places.iter().enumerate() {
            // Round places may reach into each other's rectangles.
            let other = places[i + 1..]
                .iter()
                .find(|(s, b)| overlaps(*a, *b) && !(round(*shape) && round(*s)));
            if let Some((_, b)) = other {
                clashes.push(format!(
                    "the places at {} and {} from the left, {} and {} from the top overlap",
                    Length::mm(a.min.x),
                    Length::mm(b.min.x),
                    Length::mm(a.min.y),
                    Length::mm(b.min.y)
                ));
                break;
            }
        }
        clashes
    }

    /// Lays a job's pieces into the places. The job's gutter, method and fold play no part.
    ///
    /// # Errors
    /// [`Problems`], all at once: measures that contradict each other, a piece that has no place,
    /// a sheet of another size than the set-up's.
    pub fn plan(&self, job: &Job, quality: &dyn Quality) -> Result<Plan, Problems> {
        let mut problems = check_job(job);
        if let Err(Problems(more)) = self.check() {
            problems.extend(more);
        } else if !self.sheet.is_close(job.sheet.size, TOLERANCE) {
            let (own, set_up) = (self.sheet, job.sheet.size);
            problems.push(Problem::PreCut {
                stock: self.name.clone(),
                what: format!(
                    "it measures {} × {}, but the set-up's sheet {} × {}",
                    Length::mm(own.w),
                    Length::mm(own.h),
                    Length::mm(set_up.w),
                    Length::mm(set_up.h)
                ),
            });
        }
        if !problems.is_empty() {
            return Err(Problems(problems));
        }
        let classes = classes(&job.pieces);
        let places = self.places();
        let mut cells = Vec::new();
        let mut of_class: Vec<Vec<usize>> = vec![Vec::new(); classes.len()];
        for (shape, rect) in places {
            let found = classes.iter().enumerate().find_map(|(k, class)| {
                let may_turn = class.pieces.iter().all(|&i| job.pieces[i].may_turn);
                Some((k, class.shape, turn(class.shape, shape, may_turn)?))
            });
            let Some((k, shape, turn)) = found else {
                continue;
            };
            let size = turn.sheet_size(shape.size());
            let centre = rect.centre();
            let at = Point::new(centre.x - size.w / 2.0, centre.y - size.h / 2.0);
            of_class[k].push(cells.len());
            cells.push(Cell {
                shape,
                turn,
                trim: Rect::at(at, size),
                bleed: Margins::default(),
                good: 1.0,
            });
        }
        let without: Vec<Problem> = classes
            .iter()
            .zip(&of_class)
            .filter(|(_, places)| places.is_empty())
            .flat_map(|(class, _)| class.pieces.iter())
            .map(|&i| self.no_place(&job.pieces[i].name, job.pieces[i].shape))
            .collect();
        if !without.is_empty() {
            return Err(Problems(without));
        }
        let usable = job.sheet.usable(job.is_two_sided());
        cell_bleed::set(&mut cells, job.bleed, usable);
        let sheets = classes
            .iter()
            .zip(&of_class)
            .map(|(class, places)| class.count.div_ceil(places.len()))
            .max()
            .unwrap_or(0);
        let mut groups = [Group {
            sheets: vec![vec![None; cells.len()]; sheets],
            cells,
        }];
        for (class, places) in classes.iter().zip(of_class) {
            let units = order::units(&job.pieces, |piece| class.pieces.contains(&piece));
            order::fill(&mut groups, &[places], &units, job.order);
        }
        let title = format!("on \"{}\"", self.name);
        let mut plan = Plan::new(job, title, groups.into(), None).already_cut();
        plan.weigh(quality);
        Ok(plan)
    }

    fn no_place(&self, piece: &str, shape: Shape) -> Problem {
        let mut places: Vec<String> = Vec::new();
        for grid in &self.grids {
            let place = grid.shape.to_string();
            if !places.contains(&place) {
                places.push(place);
            }
        }
        Problem::NoPlace {
            piece: piece.to_owned(),
            shape: shape.to_string(),
            stock: self.name.clone(),
            places: places.join(", "),
        }
    }
}

/// How a piece must be turned to fall out of a place.
fn turn(piece: Shape, place: Shape, may_turn: bool) -> Option<QuarterTurn> {
    if is_close(piece, place) {
        Some(QuarterTurn::Upright)
    } else if may_turn && is_close(piece.turned(), place) {
        Some(QuarterTurn::Clockwise)
    } else {
        None
    }
}

fn is_close(a: Shape, b: Shape) -> bool {
    let close = |a: f64, b: f64| (a - b).abs() <= TOLERANCE;
    match (a, b) {
        (Shape::Rect { size: a, .. }, Shape::Rect { size: b, .. }) => a.is_close(b, TOLERANCE),
        (Shape::Circle { diameter: a }, Shape::Circle { diameter: b }) => close(a, b),
        (
            Shape::Hexagon { across: a, top },
            Shape::Hexagon {
                across: b,
                top: other,
            },
        ) => top == other && close(a, b),
        _ => false,
    }
}
