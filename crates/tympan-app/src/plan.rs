//! From what is known about the backs to a map for every page of a file.

use serde::{Deserialize, Serialize};
use tympan_register::{Correction, Sides, correction};
use tympan_sheet::{
    Affine, Flip, Frame, Front, Map, NotInvertible, Page, Point, QuarterTurn, Size, Vector,
};

use crate::pages::Role;
use crate::words::OnBack;

/// What the correction is made from.
#[derive(Clone, Debug, PartialEq)]
pub enum Cause {
    /// Where the backs were seen to lie.
    Seen(OnBack),
    /// What is to be done to the back pages.
    Move(OnBack),
    /// The steady error of a set-up.
    SetUp {
        /// The set-up's steady error as a map of the front's plane: where the backs lie, seen
        /// from the front, of what should lie at a point.
        field: Affine<Front>,
        /// The sheet as the test sheet was printed on it.
        sheet: Size,
        /// How its back stands to its front.
        flip: Flip,
    },
}

/// Where a page goes on paper of another size.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Place {
    /// The page's middle on the paper's middle.
    #[default]
    Centre,
    /// The middle of what is printed (its outermost trim marks) on the paper's middle.
    Marks,
}

/// How the pages of the file go on the sheets.
#[derive(Clone, Debug, PartialEq)]
pub struct Laying {
    /// How the file means its backs, page against page; not always known.
    pub page_flip: Option<Flip>,
    /// The paper to put the pages on, where it is not the pages' own.
    pub paper: Option<Size>,
    /// Where on it.
    pub place: Place,
    /// For landscape pages: how the printing program lays them on the sheet, where the output
    /// stays landscape and that program turns it.
    pub driver_turns: Option<QuarterTurn>,
}

/// One page of the file.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PageIn {
    /// Its size as seen, mm.
    pub size: Size,
    /// Its part in the file.
    pub role: Role,
    /// The middle of what is printed on it, where [`Place::Marks`] asks for it.
    pub marks_centre: Option<Point<Page>>,
}

/// What becomes of one page.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PagePlan {
    /// From the page as it was seen to the page as it will be seen, mm.
    pub map: Affine<Page>,
    /// The size that the page will have as seen, mm.
    pub size: Size,
    /// The part of `map` that corrects, in the frame of the page as it will be seen.
    pub correction: Affine<Page>,
    /// How the page was turned to lie on the sheet.
    pub turn: QuarterTurn,
}

/// Why no plan can be made.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PlanError {
    /// The page is not the set-up's paper.
    #[error(
        "page {page} is {} × {} mm, but the set-up was measured on {} × {} mm",
        round(.size.w), round(.size.h), round(.sheet.w), round(.sheet.h)
    )]
    OtherPaper {
        /// Counted from 1.
        page: usize,
        /// The page as seen.
        size: Size,
        /// The set-up's sheet.
        sheet: Size,
    },
    /// A landscape page whose backs could stand either way.
    #[error("page {page} is a landscape page, and its back can stand to it in two ways")]
    FlipUnknown {
        /// Counted from 1.
        page: usize,
    },
    /// A back and its front differ in size, so that nothing says where one lies on the other.
    #[error(
        "page {back} is {} × {} mm and cannot lie behind page {front}, which is {} × {} mm",
        round(.back_size.w), round(.back_size.h), round(.front_size.w), round(.front_size.h)
    )]
    SizesDiffer {
        /// The front page, from 1.
        front: usize,
        /// Its size.
        front_size: Size,
        /// The back page, from 1.
        back: usize,
        /// Its size.
        back_size: Size,
    },
    /// The correction cannot be undone or halved.
    #[error("a correction like this cannot be made: {0}")]
    Impossible(#[from] NotInvertible),
}

fn round(mm: f64) -> f64 {
    (mm * 10.0).round() / 10.0
}

impl PlanError {
    /// What to do about it.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::OtherPaper { .. } => {
                "say --paper with the set-up's paper to put the pages on it at true size, or use a \
                 set-up that was measured on this paper"
            }
            Self::FlipUnknown { .. } => {
                "hold two pages of the file together as front and back: say --flip sideways if the \
                 backs stand upright when the sheet is turned over like a page of a book, --flip \
                 endways if they stand upright when it is turned over like a notepad"
            }
            Self::SizesDiffer { .. } => {
                "give fronts and backs pages of the same size, or put them on one paper with --paper"
            }
            Self::Impossible(_) => "check the numbers: such a stretch or tilt is no printer's",
        }
    }
}

/// Pages this near the paper's size are that paper: PDF writers round to whole points.
const SIZE_TOLERANCE_MM: f64 = 1.0;

/// Makes the plan for every page.
///
/// Pages keep their orientation unless a set-up's sheet stands the other way: such pages are laid
/// on the sheet a quarter turned, as the test sheet went through the printer, so that nobody has
/// to guess which way a driver would turn them.
///
/// # Errors
/// [`PlanError`] with the page that cannot be placed.
pub fn plan(
    pages: &[PageIn],
    cause: &Cause,
    on: Sides,
    laying: &Laying,
) -> Result<Vec<PagePlan>, PlanError> {
    (0..pages.len())
        .map(|i| plan_page(pages, i, cause, on, laying))
        .collect()
}

fn plan_page(
    pages: &[PageIn],
    index: usize,
    cause: &Cause,
    on: Sides,
    laying: &Laying,
) -> Result<PagePlan, PlanError> {
    let page = pages[index];
    let is_back = matches!(page.role, Role::Back { .. });
    let (sheet, front_turn, page_flip, sheet_flip) = match cause {
        Cause::SetUp { sheet, flip, .. } => {
            let turned = lies_turned(page.size, *sheet, laying, index)?;
            let turn = if turned {
                laying.driver_turns.unwrap_or(QuarterTurn::Clockwise)
            } else {
                QuarterTurn::Upright
            };
            // On upright pages the set-up's own flip is what anyone means who says nothing.
            let page_flip = match laying.page_flip {
                Some(page_flip) => page_flip,
                None if !turned => *flip,
                None => return Err(PlanError::FlipUnknown { page: index + 1 }),
            };
            (*sheet, turn, page_flip, *flip)
        }
        Cause::Seen(_) | Cause::Move(_) => {
            let sheet = laying
                .paper
                .map_or(page.size, |paper| like(paper, page.size));
            let flip = match laying.page_flip {
                Some(flip) => flip,
                None if on == Sides::Backs || !page.size.is_landscape() => Flip::Sideways,
                None => return Err(PlanError::FlipUnknown { page: index + 1 }),
            };
            (sheet, QuarterTurn::Upright, flip, flip)
        }
    };
    // The paper held as the page is.
    let paper = front_turn.sheet_size(sheet);
    let placed = placed(pages, index, paper, page_flip, laying.place)?;
    let turn = if is_back {
        front_turn.for_back(page_flip, sheet_flip, paper)
    } else {
        front_turn
    };
    let Correction { fronts, backs } = corrections(cause, on, sheet, sheet_flip)?;
    let to_sheet: Affine<Page> = as_page(&turn.map::<Front>(paper));
    let correction = if is_back {
        as_page(&backs)
    } else {
        as_page(&fronts)
    };
    if laying.driver_turns.is_some() && turn.is_sideways() {
        // The page stays as it is, and what the driver does is undone behind the correction.
        let correction = to_sheet.then(&correction).then(&to_sheet.inverse()?);
        return Ok(PagePlan {
            map: placed.then(&correction),
            size: paper,
            correction,
            turn: QuarterTurn::Upright,
        });
    }
    Ok(PagePlan {
        map: placed.then(&to_sheet).then(&correction),
        size: sheet,
        correction,
        turn,
    })
}

/// Whether the page lies a quarter turned on the set-up's sheet.
fn lies_turned(page: Size, sheet: Size, laying: &Laying, index: usize) -> Result<bool, PlanError> {
    if page.is_close(sheet, SIZE_TOLERANCE_MM) {
        return Ok(false);
    }
    if page.turned().is_close(sheet, SIZE_TOLERANCE_MM) {
        return Ok(true);
    }
    let chosen = laying.paper.is_some_and(|paper| {
        paper
            .portrait()
            .is_close(sheet.portrait(), SIZE_TOLERANCE_MM)
    });
    if chosen {
        return Ok(page.is_landscape() != sheet.is_landscape());
    }
    Err(PlanError::OtherPaper {
        page: index + 1,
        size: page,
        sheet,
    })
}

/// The paper held the way the page is.
fn like(paper: Size, page: Size) -> Size {
    if paper.is_landscape() == page.is_landscape() {
        paper
    } else {
        paper.turned()
    }
}

/// Puts a page on paper of perhaps another size, front and back such that they still lie behind
/// each other.
fn placed(
    pages: &[PageIn],
    index: usize,
    paper: Size,
    flip: Flip,
    place: Place,
) -> Result<Affine<Page>, PlanError> {
    let page = pages[index];
    if place == Place::Centre && paper == page.size {
        return Ok(Affine::IDENTITY);
    }
    let centred = |size: Size| Vector::new((paper.w - size.w) / 2.0, (paper.h - size.h) / 2.0);
    let own = |page: &PageIn| match (place, page.marks_centre) {
        (Place::Marks, Some(marks)) => paper.centre::<Page>() - marks,
        _ => centred(page.size),
    };
    let partner = match page.role {
        Role::Back { front: Some(front) } => front,
        _ => return Ok(Affine::shift(own(&page))),
    };
    let front = pages[partner];
    if !front.size.is_close(page.size, SIZE_TOLERANCE_MM) {
        return Err(PlanError::SizesDiffer {
            front: partner + 1,
            front_size: front.size,
            back: index + 1,
            back_size: page.size,
        });
    }
    // What is left of the front's page on the paper is right of the back's, as the flip has it.
    let off_centre = own(&front) - centred(front.size);
    let mirrored = flip.vector_to_back(Vector::new(off_centre.x, off_centre.y));
    Ok(Affine::shift(
        centred(page.size) + Vector::new(mirrored.x, mirrored.y),
    ))
}

/// The corrections of both sides.
fn corrections(
    cause: &Cause,
    on: Sides,
    sheet: Size,
    flip: Flip,
) -> Result<Correction, NotInvertible> {
    let field = match cause {
        Cause::SetUp { field, .. } => *field,
        Cause::Seen(seen) => flip.carry_to_front(&seen.map(sheet), sheet),
        Cause::Move(moved) => flip.carry_to_front(&moved.map(sheet), sheet).inverse()?,
    };
    correction(&field, flip, sheet, on)
}

/// A map that ends in a side's frame, where the page shows that side as it is.
pub(crate) fn as_page<A: Frame, B: Frame>(m: &Map<A, B>) -> Affine<Page> {
    Affine::new(m.xx, m.xy, m.yx, m.yy, m.dx, m.dy)
}

/// From a page that shows a side as it is to that side.
pub(crate) fn from_page<F: Frame>() -> Map<Page, F> {
    Map::new(1.0, 0.0, 0.0, 1.0, 0.0, 0.0)
}

/// The farthest that a correction moves anything on a page of this size, mm.
pub fn farthest(correction: &Affine<Page>, size: Size) -> f64 {
    tympan_sheet::Rect::<Page>::whole(size)
        .corners()
        .iter()
        .map(|&corner| correction.displacement(corner).length())
        .fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;
    use tympan_sheet::{Angle, Back};

    const A4: Size = Size::new(210.0, 297.0);
    const LETTER: Size = Size::new(215.9, 279.4);

    fn pair(size: Size) -> [PageIn; 2] {
        let front = Role::Front { back: Some(1) };
        let back = Role::Back { front: Some(0) };
        [front, back].map(|role| PageIn {
            size,
            role,
            marks_centre: None,
        })
    }

    fn laying(page_flip: Option<Flip>) -> Laying {
        Laying {
            page_flip,
            paper: None,
            place: Place::Centre,
            driver_turns: None,
        }
    }

    fn some_field(sheet: Size) -> Affine<Front> {
        Affine::tilt(Angle::degrees(0.3), sheet.centre())
            .then(&Affine::scale(1.002, 0.999, sheet.centre()))
            .then(&Affine::shift(Vector::new(0.4, 2.1)))
    }

    /// Prints the plans on a printer whose backs lie by `field` (front frame), and says how far
    /// the back's image of a point lies from the front's image of the same point, seen from the
    /// front. `at` is a point of the front page and its partner on the back page.
    fn left_over(
        plans: &[PagePlan],
        field: &Affine<Front>,
        flip: Flip,
        at: (Point<Page>, Point<Page>),
    ) -> f64 {
        let sheet = plans[0].size;
        let front = plans[0].map.apply(at.0);
        let back = plans[1].map.apply(at.1);
        let front = Point::<Front>::new(front.x, front.y);
        let ideal = flip.to_front(Point::new(back.x, back.y), sheet);
        (field.apply(ideal) - front).length()
    }

    #[test]
    fn a_set_up_s_error_is_gone_on_every_kind_of_page_and_flip() {
        for sheet in [A4, LETTER] {
            let field = some_field(sheet);
            for flip in [Flip::Sideways, Flip::Endways] {
                for page in [sheet, sheet.turned()] {
                    for page_flip in [Flip::Sideways, Flip::Endways] {
                        for on in [Sides::Backs, Sides::Fronts, Sides::Both] {
                            let cause = Cause::SetUp { field, sheet, flip };
                            let plans = plan(&pair(page), &cause, on, &laying(Some(page_flip)))
                                .expect("a plan");
                            let p = Point::new(40.0, 70.0);
                            let q = page_flip.map(page).apply(Point::new(p.x, p.y));
                            let left = left_over(&plans, &field, flip, (p, Point::new(q.x, q.y)));
                            assert!(left < 1e-9, "{flip} {page_flip} {on:?} {page:?}: {left}");
                        }
                    }
                }
            }
        }
    }

    #[test]
    fn a_page_that_stays_landscape_is_right_once_the_driver_has_turned_it() {
        let field = some_field(A4);
        for turn in [QuarterTurn::Clockwise, QuarterTurn::Anticlockwise] {
            for page_flip in [Flip::Sideways, Flip::Endways] {
                let cause = Cause::SetUp {
                    field,
                    sheet: A4,
                    flip: Flip::Sideways,
                };
                let asked = Laying {
                    driver_turns: Some(turn),
                    ..laying(Some(page_flip))
                };
                let page = A4.turned();
                let plans = plan(&pair(page), &cause, Sides::Backs, &asked).expect("plans");
                assert_eq!(plans[1].size, page);
                // The driver lays the front by `turn`, and the back so that it lies behind it.
                let back_turn = turn.for_back(page_flip, Flip::Sideways, page);
                let p = Point::new(40.0, 70.0);
                let q = page_flip.map(page).apply(Point::new(p.x, p.y));
                let front: Point<Front> = turn.map(page).apply(plans[0].map.apply(p));
                let back: Point<Back> = back_turn
                    .map(page)
                    .apply(plans[1].map.apply(Point::new(q.x, q.y)));
                let seen = field.apply(Flip::Sideways.to_front(back, A4));
                assert!((seen - front).length() < 1e-9, "{turn:?} {page_flip}");
            }
        }
    }

    #[test]
    fn what_was_seen_low_is_moved_up_and_fronts_stay() {
        let seen = OnBack::parse("2mm low, 0.4mm left").expect("words");
        let cause = Cause::Seen(seen);
        let plans = plan(&pair(A4), &cause, Sides::Backs, &laying(None)).expect("a plan");
        assert!(plans[0].map.is_close(&Affine::IDENTITY, 1e-12));
        assert!(
            plans[1]
                .map
                .is_close(&Affine::shift(Vector::new(0.4, -2.0)), 1e-9)
        );
    }

    #[test]
    fn a_move_is_done_to_the_back_page_as_it_is_said() {
        let asked = OnBack::parse("2mm up, 0.4mm right, tilt 0.2 clockwise").expect("words");
        let plans =
            plan(&pair(A4), &Cause::Move(asked), Sides::Backs, &laying(None)).expect("a plan");
        let want = Affine::<Page>::tilt(Angle::degrees(0.2), A4.centre())
            .then(&Affine::shift(Vector::new(0.4, -2.0)));
        assert!(plans[1].map.is_close(&want, 1e-9));
    }

    #[test]
    fn letter_pages_go_on_a4_at_true_size_with_backs_still_behind_their_fronts() {
        for flip in [Flip::Sideways, Flip::Endways] {
            for (place, marks) in [
                (Place::Centre, None),
                (Place::Marks, Some(Point::new(100.0, 130.0))),
            ] {
                let mut pages = pair(LETTER);
                pages[0].marks_centre = marks;
                let cause = Cause::Seen(OnBack::default());
                let asked = Laying {
                    paper: Some(A4),
                    place,
                    page_flip: Some(flip),
                    driver_turns: None,
                };
                let plans = plan(&pages, &cause, Sides::Backs, &asked).expect("a plan");
                let p = Point::new(30.0, 40.0);
                let q = flip.map(LETTER).apply(Point::new(p.x, p.y));
                let left = left_over(&plans, &Affine::IDENTITY, flip, (p, Point::new(q.x, q.y)));
                assert!(left < 1e-9, "{flip} {place:?}: {left}");
                if let Some(marks) = marks {
                    let middle = plans[0].map.apply(marks);
                    assert!((middle - A4.centre()).length() < 1e-9);
                }
            }
        }
    }

    #[test]
    fn a_page_of_another_size_than_the_set_up_s_is_asked_about() {
        let cause = Cause::SetUp {
            field: Affine::IDENTITY,
            sheet: A4,
            flip: Flip::Sideways,
        };
        let error = plan(&pair(LETTER), &cause, Sides::Backs, &laying(None));
        assert!(matches!(error, Err(PlanError::OtherPaper { page: 1, .. })));
    }

    #[test]
    fn landscape_backs_without_a_flip_are_asked_about() {
        let cause = Cause::SetUp {
            field: Affine::IDENTITY,
            sheet: A4,
            flip: Flip::Sideways,
        };
        let error = plan(&pair(A4.turned()), &cause, Sides::Backs, &laying(None));
        assert_eq!(error, Err(PlanError::FlipUnknown { page: 1 }));
    }
}
