//! A plan: which sheets there are, where the cells lie on them, and which piece lies in which.

use tympan_sheet::drawing::Path;
use tympan_sheet::{Front, QuarterTurn, Rect, Shape};

use crate::cutting::Trimmer;
use crate::fold_over::FoldLine;
use crate::job::{Edge, Job, Margins, Piece, Sheet};
use crate::marks::outline;
use crate::quality::{Place, Quality};

/// Sheets of pieces, as they are printed.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// What it is in a few words: `3 × 3 upright`.
    pub title: String,
    /// The sheet.
    pub sheet: Sheet,
    /// The kinds of pieces, as they were given.
    pub pieces: Vec<Piece>,
    /// Sheets that are cut alike, in the order of printing.
    pub groups: Vec<Group>,
    /// Where the sheet is folded, if front and back lie on one side of it.
    pub fold: Option<FoldLine>,
    /// Whether the sheets are perforated or die-cut already.
    pub pre_cut: bool,
    /// What the plan comes to.
    pub figures: Figures,
}

/// Sheets that are cut alike.
#[derive(Clone, Debug, PartialEq)]
pub struct Group {
    /// The cells of each of its sheets, in reading order.
    pub cells: Vec<Cell>,
    /// What lies in the cells, sheet by sheet; `None` where a cell stays empty.
    pub sheets: Vec<Vec<Option<Unit>>>,
}

impl Group {
    /// Sets the chance of each cell.
    fn weigh(&mut self, pieces: &[Piece], quality: &dyn Quality) {
        // How many pieces of each kind of edge lie in each cell; what has no back is always good.
        let mut places: Vec<Place> = Vec::new();
        let mut weights: Vec<(usize, f64)> = Vec::new();
        for (i, cell) in self.cells.iter().enumerate() {
            let first = places.len();
            let units: Vec<&Piece> = self
                .sheets
                .iter()
                .filter_map(|units| units[i].map(|unit| &pieces[unit.piece]))
                .collect();
            let share = 1.0 / units.len().max(1) as f64;
            for piece in units.iter().filter(|piece| piece.back.is_some()) {
                let seen = places[first..].iter().position(|p| p.edge == piece.edge);
                if let Some(k) = seen {
                    weights[first + k].1 += share;
                } else {
                    places.push(Place {
                        trim: cell.trim,
                        bleed: match piece.edge {
                            Edge::Alike => self.alike_bleed(i, pieces),
                            _ => cell.bleed.least(),
                        },
                        edge: piece.edge,
                    });
                    weights.push((i, share));
                }
            }
        }
        self.cells.iter_mut().for_each(|cell| cell.good = 1.0);
        for (good, (cell, weight)) in quality.good_each(&places).into_iter().zip(weights) {
            self.cells[cell].good -= weight * (1.0 - good.clamp(0.0, 1.0));
        }
    }

    /// The bleed, mm, at the edge of a cell that has least, for a piece with the same colour at its
    /// edges as its neighbours have: an edge all along which such neighbours lie has no end of it.
    fn alike_bleed(&self, i: usize, pieces: &[Piece]) -> f64 {
        const CLOSE: f64 = 0.01;
        let own = &self.cells[i];
        let is_alike =
            |unit: Option<Unit>| unit.is_some_and(|u| pieces[u.piece].edge == Edge::Alike);
        let filled = || self.sheets.iter().filter(|units| units[i].is_some());
        let alike: Vec<Rect<Front>> = (0..self.cells.len())
            .filter(|&j| j != i && filled().all(|units| is_alike(units[j])))
            .map(|j| self.cells[j].trim)
            .collect();
        let (a, b) = (own.trim.min, own.trim.max);
        let covered = |bleed: f64, gap: &dyn Fn(&Rect<Front>) -> f64, upright: bool| {
            let near = |other: &&Rect<Front>| (-CLOSE..=2.0 * bleed + CLOSE).contains(&gap(other));
            let shared = |other: &Rect<Front>| {
                if upright {
                    b.y.min(other.max.y) - a.y.max(other.min.y)
                } else {
                    b.x.min(other.max.x) - a.x.max(other.min.x)
                }
            };
            let along: f64 = alike.iter().filter(near).map(|o| shared(o).max(0.0)).sum();
            along >= if upright { b.y - a.y } else { b.x - a.x } - CLOSE
        };
        let [left, top, right, bottom] = own.bleed.edges();
        let edges = [
            (left, covered(left, &|o| a.x - o.max.x, true)),
            (top, covered(top, &|o| a.y - o.max.y, false)),
            (right, covered(right, &|o| o.min.x - b.x, true)),
            (bottom, covered(bottom, &|o| o.min.y - b.y, false)),
        ];
        let open = edges.into_iter().filter(|(_, covered)| !covered);
        // More than any printer errs by.
        open.map(|(bleed, _)| bleed).fold(25.0, f64::min)
    }

    /// Drops the cells that stay empty on all sheets, and the sheets that carry nothing.
    pub(crate) fn drop_unused(&mut self) {
        let used: Vec<bool> = (0..self.cells.len())
            .map(|i| self.sheets.iter().any(|units| units[i].is_some()))
            .collect();
        keep(&mut self.cells, &used);
        for units in &mut self.sheets {
            keep(units, &used);
        }
        self.sheets
            .retain(|units| units.iter().any(Option::is_some));
    }
}

fn keep<T>(list: &mut Vec<T>, used: &[bool]) {
    let mut used = used.iter();
    list.retain(|_| used.next().copied().unwrap_or(false));
}

/// One piece's place on a sheet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cell {
    /// The piece's shape, upright as one holds it.
    pub shape: Shape,
    /// How the front is turned to lie on the sheet.
    pub turn: QuarterTurn,
    /// Where the piece lies on the front: the rectangle that it just fills.
    pub trim: Rect<Front>,
    /// How far its print may run over the trim at each edge, as seen on the front.
    pub bleed: Margins,
    /// The chance that a piece comes out right here.
    pub good: f64,
}

impl Cell {
    /// What the piece is cut to, as it lies on the front, mm from the sheet's top left corner.
    pub fn outline(&self) -> Path {
        outline(self.shape, self.turn, self.trim)
    }
}

/// One piece that is made.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Unit {
    /// Which kind: its place in [`Plan::pieces`].
    pub piece: usize,
    /// Which copy of that kind, from 0.
    pub copy: usize,
    /// Its place in the finished deck, from 0.
    pub number: usize,
}

/// What a plan comes to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Figures {
    /// How many sheets are printed.
    pub sheets: usize,
    /// How many pieces are made.
    pub pieces: usize,
    /// The most that lie on one sheet.
    pub most_per_sheet: usize,
    /// What of the paper becomes no piece, 0 to 1, over all sheets.
    pub waste: f64,
    /// How many of the pieces are expected to come out wrong, by the set-up's model; 0 where
    /// nothing has been measured.
    pub expected_rejects: f64,
    /// How many sheets more would make up for them.
    pub spare_sheets: usize,
    /// How many straight cuts one sheet of each group takes, all in all; `None` where a group
    /// cannot be cut straight through.
    pub cuts: Option<usize>,
}

impl Plan {
    /// A plan of filled groups, not yet weighed.
    pub(crate) fn new(
        job: &Job,
        title: String,
        groups: Vec<Group>,
        fold: Option<FoldLine>,
    ) -> Self {
        let mut plan = Self {
            title,
            sheet: job.sheet,
            pieces: job.pieces.clone(),
            groups,
            fold,
            pre_cut: false,
            figures: Figures {
                sheets: 0,
                pieces: 0,
                most_per_sheet: 0,
                waste: 0.0,
                expected_rejects: 0.0,
                spare_sheets: 0,
                cuts: Some(0),
            },
        };
        plan.add_up();
        plan
    }

    /// The same plan on sheets that need no cutting.
    pub(crate) fn already_cut(self) -> Self {
        let pre_cut = true;
        Self { pre_cut, ..self }
    }

    /// The chance of each cell: the average over the pieces that lie in it.
    pub(crate) fn weigh(&mut self, quality: &dyn Quality) {
        // Folding and one-sided printing know no register error.
        if self.is_two_sided() {
            for group in &mut self.groups {
                group.weigh(&self.pieces, quality);
            }
        }
        self.add_up();
    }

    fn add_up(&mut self) {
        let sheet = self.sheet.size;
        let (mut sheets, mut pieces, mut most) = (0, 0, 0);
        let (mut area, mut good) = (0.0, 0.0);
        let mut cuts = Some(0);
        for (g, group) in self.groups.iter().enumerate() {
            sheets += group.sheets.len();
            most = most.max(group.cells.len());
            for units in &group.sheets {
                for (cell, _) in group.cells.iter().zip(units).filter(|(_, u)| u.is_some()) {
                    pieces += 1;
                    area += cell.shape.area();
                    good += cell.good;
                }
            }
            let here = if self.pre_cut {
                Some(0)
            } else {
                self.cutting(g, &Trimmer::default()).map(|c| c.cuts())
            };
            cuts = cuts.zip(here).map(|(a, b)| a + b);
        }
        let sides = if self.fold.is_some() { 2.0 } else { 1.0 };
        let paper = sheet.w * sheet.h * sheets as f64;
        let rejects = pieces as f64 - good;
        let good_per_sheet = good / sheets.max(1) as f64;
        let spare_sheets = if rejects > 1e-9 && good_per_sheet > 0.0 {
            (rejects / good_per_sheet).ceil() as usize
        } else {
            0
        };
        self.figures = Figures {
            sheets,
            pieces,
            most_per_sheet: most,
            waste: if paper > 0.0 {
                1.0 - sides * area / paper
            } else {
                0.0
            },
            expected_rejects: rejects.max(0.0),
            spare_sheets,
            cuts,
        };
    }

    /// Lower is better: sheets, counting what makes up for rejects in tenths of a sheet; then
    /// cuts and bleed that is missing at the outer edges, a tenth of a millimetre like a cut; then
    /// rejects.
    pub(crate) fn rank(&self, bleed: f64) -> f64 {
        let f = &self.figures;
        let good_per_sheet = (f.pieces as f64 - f.expected_rejects) / f.sheets.max(1) as f64;
        let spare = if good_per_sheet > 0.0 {
            (f.expected_rejects / good_per_sheet * 10.0).floor() / 10.0
        } else {
            f.sheets as f64
        };
        // Cut one by one, a piece has four edges.
        let each = || self.groups.iter().map(|g| 4 * g.cells.len()).sum();
        let cuts = f.cuts.unwrap_or_else(each) as f64;
        let missing = 10.0 * (bleed - self.outer_bleed()).max(0.0);
        let rejects = f.expected_rejects / f.pieces.max(1) as f64;
        (f.sheets as f64 + spare) * 1e6 + cuts + missing + rejects
    }

    /// The least bleed, mm, at the outer edges of any sheet's block of pieces.
    pub fn outer_bleed(&self) -> f64 {
        let mut least = f64::INFINITY;
        for group in &self.groups {
            let trims = || group.cells.iter().map(|c| c.trim);
            let left = trims().map(|t| t.min.x).fold(f64::INFINITY, f64::min);
            let top = trims().map(|t| t.min.y).fold(f64::INFINITY, f64::min);
            let right = trims().map(|t| t.max.x).fold(0.0, f64::max);
            let bottom = trims().map(|t| t.max.y).fold(0.0, f64::max);
            for cell in &group.cells {
                let at_edge = [
                    (cell.trim.min.x <= left, cell.bleed.left),
                    (cell.trim.min.y <= top, cell.bleed.top),
                    (cell.trim.max.x >= right, cell.bleed.right),
                    (cell.trim.max.y >= bottom, cell.bleed.bottom),
                ];
                for (_, bleed) in at_edge.into_iter().filter(|(outer, _)| *outer) {
                    least = least.min(bleed);
                }
            }
        }
        least
    }

    /// All sheets in the order of printing: the group of each and what lies in its cells.
    pub fn sheets(&self) -> impl Iterator<Item = (&Group, &[Option<Unit>])> {
        self.groups
            .iter()
            .flat_map(|group| group.sheets.iter().map(move |units| (group, &units[..])))
    }

    /// The cells of a group, from 0, whose pieces reach into what the printer cannot print: white
    /// will show on them. Only on pre-cut sheets are there any.
    pub fn beyond_margins(&self, group: usize) -> Vec<usize> {
        let printable = self.sheet.printable(self.is_two_sided()).grown(1e-6);
        let cells = self.groups.get(group).map_or(&[][..], |g| &g.cells);
        let beyond =
            |cell: &Cell| !printable.contains(cell.trim.min) || !printable.contains(cell.trim.max);
        (0..cells.len()).filter(|&i| beyond(&cells[i])).collect()
    }

    /// Whether anything is printed on the backs of the sheets.
    pub fn is_two_sided(&self) -> bool {
        self.fold.is_none() && self.pieces.iter().any(|piece| piece.back.is_some())
    }
}
