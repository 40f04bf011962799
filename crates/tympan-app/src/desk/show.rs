//! What the light table shows: where fronts and backs lie, before and after.

use serde::Serialize;
use tympan_register::Sides;
use tympan_sheet::{Affine, Back, Flip, Front, Length, Map, Page, Rect, Size};

use super::work::{How, Placed, Work};
use super::{Coefficients, coefficients, from_coefficients};
use crate::correct::{FARTHEST_UNASKED_MM, Item, items_of, move_in_words_in};
use crate::pages::Role;
use crate::plan::{self, Cause, Laying, PageIn, PagePlan, Place, PlanError};
use crate::refusal::Refusal;
use crate::words::{OnBack, Units, seen_in_words_in};

/// One page of a piece of work.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct PageRef {
    /// Which file, from 0.
    pub file: usize,
    /// Which page of it, from 1.
    pub page: usize,
    /// Width as seen, mm.
    pub w: f64,
    /// Height as seen, mm.
    pub h: f64,
}

/// A sheet of the output: a front, its back, or both.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct SheetRef {
    /// The front, if it has one.
    pub front: Option<PageRef>,
    /// The back, if it has one.
    pub back: Option<PageRef>,
}

/// A sheet on the light table.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Shown {
    /// What lies on the table.
    pub sheet: SheetRef,
    /// How the back stands to the front.
    pub flip: Flip,
    /// Looking at the front.
    pub from_front: View,
    /// Looking at the back.
    pub from_back: View,
    /// Whether what is shown is the printed sheet, or else the file as it is.
    pub printed: bool,
    /// Where the backs lie, looking at the back: a sentence; empty where nothing was said.
    pub seen: String,
    /// What the saved file does to the backs, looking at them: a sentence.
    pub moves: String,
    /// What the user gave, in the words that can be typed; empty where nothing was.
    pub words: String,
    /// The same in numbers.
    pub placed: Placed,
    /// What the correction is made from.
    pub how: How,
    /// Whether anything is moved.
    pub moved: bool,
    /// How far the correction moves things, mm, where that is farther than is likely.
    pub far_mm: Option<f64>,
    /// The outer corners of the cards on the front, or on the back where there is no front: left,
    /// top, right, bottom, mm of its page. None where none were found.
    pub cards: Option<[f64; 4]>,
}

/// A sheet as it is looked at from one side. All is in mm of the page on that side, from its top
/// left corner, y down.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct View {
    /// The sheet's outline: left, top, right, bottom.
    pub sheet: [f64; 4],
    /// Where the front's page lies.
    pub front: Option<Coefficients>,
    /// Where the back's page lies before the correction.
    pub back_before: Option<Coefficients>,
    /// And after it.
    pub back_after: Option<Coefficients>,
    /// What a step to the right and one down in this view are on the back: +1 or −1 each.
    pub on_back: [f64; 2],
}

/// The sheets of a piece of work, in the order of the output.
///
/// # Errors
/// A [`Refusal`] where the pages cannot be divided into fronts and backs as asked.
pub fn sheets(work: &Work) -> Result<Vec<SheetRef>, Refusal> {
    Ok(pair(&items(work)?)
        .into_iter()
        .map(|(sheet, _, _)| sheet)
        .collect())
}

fn items(work: &Work) -> Result<Vec<Item>, Refusal> {
    items_of(&work.pages, &work.backs()?, work.has_back_file).map_err(|refusal| Refusal {
        hint: Some(
            "choose which pages are backs, or drop fronts and backs in files of their own"
                .to_owned(),
        ),
        ..refusal
    })
}

/// Sheets with the places of their front and back among the items.
fn pair(items: &[Item]) -> Vec<(SheetRef, Option<usize>, Option<usize>)> {
    let page = |i: usize| PageRef {
        file: items[i].source,
        page: items[i].page,
        w: items[i].size.w,
        h: items[i].size.h,
    };
    let mut claimed = vec![false; items.len()];
    for item in items {
        if let Role::Front { back: Some(back) } = item.role {
            claimed[back] = true;
        }
    }
    let mut sheets = Vec::new();
    for (i, item) in items.iter().enumerate() {
        let (front, back) = match item.role {
            Role::Front { back } => (Some(i), back),
            Role::Back { .. } if claimed[i] => continue,
            Role::Back { .. } => (None, Some(i)),
        };
        let sheet = SheetRef {
            front: front.map(page),
            back: back.map(page),
        };
        sheets.push((sheet, front, back));
    }
    sheets
}

fn for_the_page(error: PlanError) -> Refusal {
    let hint = match &error {
        PlanError::OtherPaper { .. } => {
            "choose a set-up that was measured on this paper, or say what you see on a print"
        }
        PlanError::FlipUnknown { .. } => {
            "say how the backs stand in this file, under \"More about this file\""
        }
        PlanError::SizesDiffer { .. } => "give fronts and backs pages of the same size",
        other => other.hint(),
    };
    Refusal::new(error.to_string(), hint)
}

/// One sheet of a piece of work, counted from 0, for the light table.
///
/// # Errors
/// A [`Refusal`] where there is no such sheet or its pages cannot be placed.
pub fn show(work: &Work, sheet: usize, units: Units) -> Result<Shown, Refusal> {
    let Laid {
        sheet,
        cause,
        flip,
        size,
        table,
        front,
        back,
    } = lay(work, sheet)?;
    let (front_plan, back_plan) = (front.as_ref(), back.as_ref());
    let correction = back_plan.map_or(Affine::IDENTITY, |plan| plan.correction);
    let farthest = plan::farthest(&correction, size);
    let (seen, moves) = sentences(&cause, &table, &correction, units);
    let impossible = |e: tympan_sheet::NotInvertible| for_the_page(e.into());
    Ok(Shown {
        flip,
        from_front: table
            .looking_at_front(front_plan, back_plan)
            .map_err(impossible)?,
        from_back: table
            .looking_at_back(front_plan, back_plan)
            .map_err(impossible)?,
        printed: work.change.how != How::Move,
        seen,
        moves,
        words: words(&work.change, units),
        placed: match work.change.how {
            How::Move => work.change.moved,
            How::Seen | How::Setup => work.change.seen,
        },
        how: work.change.how,
        moved: farthest > 1e-3,
        far_mm: (farthest > FARTHEST_UNASKED_MM).then_some(farthest),
        cards: sheet
            .front
            .or(sheet.back)
            .and_then(|page| work.cards(page.file, page.page)?.bounds()),
        sheet,
    })
}

/// A sheet with the places of its pages.
struct Laid {
    sheet: SheetRef,
    cause: Cause,
    flip: Flip,
    size: Size,
    table: Table,
    front: Option<PagePlan>,
    back: Option<PagePlan>,
}

fn lay(work: &Work, sheet: usize) -> Result<Laid, Refusal> {
    let items = items(work)?;
    let Some((sheet, front, back)) = pair(&items).into_iter().nth(sheet) else {
        return Err(Refusal::new("there is no such sheet", "choose another one"));
    };
    let cause = cause(work);
    let laying = Laying {
        page_flip: work.change.flip,
        paper: None,
        place: Place::Centre,
        driver_turns: None,
    };
    // The same plan as is carried out when the file is saved, for the two pages alone.
    let both: Vec<PageIn> = [front, back]
        .into_iter()
        .flatten()
        .map(|i| PageIn {
            size: items[i].size,
            role: alone(items[i].role, front.is_some() && back.is_some()),
            marks_centre: None,
        })
        .collect();
    let plans = plan::plan(&both, &cause, Sides::Backs, &laying).map_err(for_the_page)?;
    let front_plan = front.and(plans.first().cloned());
    let back_plan = back.and(plans.last().cloned());
    let Some(size) = front_plan
        .as_ref()
        .or(back_plan.as_ref())
        .map(|plan| plan.size)
    else {
        return Err(Refusal::new("this sheet is empty", "choose another one"));
    };
    let flip = match &cause {
        Cause::SetUp { flip, .. } => *flip,
        _ => work.change.flip.unwrap_or(Flip::Sideways),
    };
    let table = Table {
        sheet: size,
        flip,
        error: printed_error(&cause, size, flip),
    };
    Ok(Laid {
        sheet,
        cause,
        flip,
        size,
        table,
        front: front_plan,
        back: back_plan,
    })
}

/// A sheet that a printer with given errors has printed, looking at the back.
pub(super) struct Simulated {
    /// What lies on the sheet.
    pub(super) sheet: SheetRef,
    /// From the front's page to where it lies, seen from the back, mm of the back's page.
    pub(super) front: Affine<Page>,
    /// Where the back's page lies for each of the errors.
    pub(super) backs: Vec<Coefficients>,
}

/// The sheet as it comes from a printer that puts the backs off by each of these maps.
pub(super) fn simulated(
    work: &Work,
    sheet: usize,
    errors: &[Affine<Front>],
) -> Result<Simulated, Refusal> {
    let impossible = |e: tympan_sheet::NotInvertible| for_the_page(e.into());
    let views = errors.iter().map(|error| {
        let laid = lay(work, sheet)?;
        let table = Table {
            error: *error,
            ..laid.table
        };
        let view = table
            .looking_at_back(laid.front.as_ref(), laid.back.as_ref())
            .map_err(impossible)?;
        Ok((laid.sheet, view))
    });
    let views = views.collect::<Result<Vec<_>, Refusal>>()?;
    let (Some((sheet, first)), true) = (views.first(), !views.is_empty()) else {
        return Err(Refusal::new(
            "there is nothing to simulate",
            "choose a set-up",
        ));
    };
    Ok(Simulated {
        sheet: *sheet,
        front: first.front.map_or(Affine::IDENTITY, from_coefficients),
        backs: views
            .iter()
            .filter_map(|(_, view)| view.back_before)
            .collect(),
    })
}

/// The role of a page among the two of its sheet.
fn alone(role: Role, paired: bool) -> Role {
    match role {
        Role::Front { .. } => Role::Front {
            back: paired.then_some(1),
        },
        Role::Back { .. } => Role::Back {
            front: paired.then_some(0),
        },
    }
}

fn cause(work: &Work) -> Cause {
    let change = &work.change;
    match (change.how, &change.setup) {
        (How::Seen, _) => Cause::Seen(change.seen.into()),
        (How::Setup, Some(learnt)) => Cause::SetUp {
            field: from_coefficients(learnt.field),
            sheet: learnt.sheet,
            flip: learnt.flip,
        },
        // No set-up is chosen yet: nothing moves.
        (How::Move | How::Setup, _) => Cause::Move(change.moved_if_asked()),
    }
}

impl super::Change {
    fn moved_if_asked(&self) -> OnBack {
        match self.how {
            How::Move => self.moved.into(),
            How::Seen | How::Setup => OnBack::default(),
        }
    }
}

/// Where the printer puts the backs, as a map of the front's plane. Where the backs of a file are
/// moved without saying why, the light table shows the file, and no printer has a part in it.
fn printed_error(cause: &Cause, sheet: Size, flip: Flip) -> Affine<Front> {
    match cause {
        Cause::Seen(seen) => flip.carry_to_front(&seen.map(sheet), sheet),
        Cause::SetUp { field, .. } => *field,
        Cause::Move(_) => Affine::IDENTITY,
    }
}

struct Table {
    sheet: Size,
    flip: Flip,
    error: Affine<Front>,
}

impl Table {
    /// From a front page to the sheet's front.
    fn front(&self, plan: &PagePlan) -> Map<Page, Front> {
        plan.map.then(&plan::from_page())
    }

    /// From a back page to where its print lies, seen from the front, before and after.
    fn backs(&self, plan: &PagePlan) -> Result<[Map<Page, Front>; 2], tympan_sheet::NotInvertible> {
        let uncorrected = plan.map.then(&plan.correction.inverse()?);
        Ok([uncorrected, plan.map].map(|map| {
            let on_back: Map<Page, Back> = map.then(&plan::from_page());
            on_back.then(&self.flip.unmap(self.sheet)).then(&self.error)
        }))
    }

    fn view<S: tympan_sheet::Frame>(
        &self,
        to_view: &Map<S, Page>,
        front: Option<Map<Page, S>>,
        backs: Option<[Map<Page, S>; 2]>,
    ) -> View {
        let corners = Rect::<S>::whole(self.sheet)
            .corners()
            .map(|corner| to_view.apply(corner));
        let least = |pick: fn(&tympan_sheet::Point<Page>) -> f64| {
            corners.iter().map(pick).fold(f64::INFINITY, f64::min)
        };
        let most = |pick: fn(&tympan_sheet::Point<Page>) -> f64| {
            corners.iter().map(pick).fold(f64::NEG_INFINITY, f64::max)
        };
        let told = |map: Map<Page, S>| coefficients(&map.then(to_view));
        View {
            sheet: [least(|p| p.x), least(|p| p.y), most(|p| p.x), most(|p| p.y)],
            front: front.map(told),
            back_before: backs.map(|b| told(b[0])),
            back_after: backs.map(|b| told(b[1])),
            on_back: [1.0, 1.0],
        }
    }

    /// Upright as the front's page is read.
    fn looking_at_front(
        &self,
        front: Option<&PagePlan>,
        back: Option<&PagePlan>,
    ) -> Result<View, tympan_sheet::NotInvertible> {
        let to_sheet: Map<Page, Front> = match (front, back) {
            (Some(front), _) => self.front(front),
            _ => plan::from_page(),
        };
        let backs = back.map(|plan| self.backs(plan)).transpose()?;
        let mut view = self.view(
            &to_sheet.inverse()?,
            front.map(|plan| self.front(plan)),
            backs,
        );
        view.on_back = match self.flip {
            Flip::Sideways => [-1.0, 1.0],
            Flip::Endways => [1.0, -1.0],
        };
        Ok(view)
    }

    /// Upright as the back's page is read.
    fn looking_at_back(
        &self,
        front: Option<&PagePlan>,
        back: Option<&PagePlan>,
    ) -> Result<View, tympan_sheet::NotInvertible> {
        let over = self.flip.map(self.sheet);
        let to_sheet: Map<Page, Back> = match back {
            Some(plan) => plan
                .map
                .then(&plan.correction.inverse()?)
                .then(&plan::from_page()),
            None => plan::from_page(),
        };
        let backs = back
            .map(|plan| self.backs(plan))
            .transpose()?
            .map(|maps| maps.map(|map| map.then(&over)));
        let front = front.map(|plan| self.front(plan).then(&over));
        Ok(self.view(&to_sheet.inverse()?, front, backs))
    }
}

fn sentences(
    cause: &Cause,
    table: &Table,
    correction: &Affine<Page>,
    units: Units,
) -> (String, String) {
    let on_back = table.flip.carry_to_back(&table.error, table.sheet);
    let shift = on_back.displacement(table.sheet.centre());
    let tilt = on_back.decompose().tilt.to_degrees();
    let mut parts: Vec<String> = Vec::new();
    parts.extend(seen_in_words_in(
        units,
        Length::mm(shift.x),
        Length::mm(shift.y),
    ));
    if tilt.abs() >= 0.005 {
        let way = if tilt > 0.0 {
            "clockwise"
        } else {
            "anticlockwise"
        };
        parts.push(format!("tilted {:.2}° {way}", tilt.abs()));
    }
    let seen = match cause {
        Cause::Move(_) => String::new(),
        _ if parts.is_empty() => String::new(),
        _ => format!("Looking at the back, your backs sit {}.", parts.join(", ")),
    };
    let moves = match move_in_words_in(units, correction, table.sheet).as_str() {
        "not moved" => "Nothing is moved yet.".to_owned(),
        how => format!("The saved file moves the backs {how}."),
    };
    (seen, moves)
}

/// What was given, as it can be typed.
fn words(change: &super::Change, units: Units) -> String {
    let (placed, up, down) = match change.how {
        How::Seen => (change.seen, "high", "low"),
        How::Move => (change.moved, "up", "down"),
        How::Setup => return String::new(),
    };
    let mut said = Vec::new();
    let mut add = |size: Option<String>, word: &str| {
        if let Some(size) = size {
            said.push(format!("{size} {word}"));
        }
    };
    let sign = |value: f64, plus: &'static str, minus: &'static str| {
        if value > 0.0 { plus } else { minus }
    };
    add(
        units.size(Length::mm(placed.down_mm)),
        sign(placed.down_mm, down, up),
    );
    add(
        units.size(Length::mm(placed.right_mm)),
        sign(placed.right_mm, "right", "left"),
    );
    let plain = |value: f64, decimals: usize, unit: &str| {
        let text = format!("{:.decimals$}", value.abs());
        let text = text.trim_end_matches('0').trim_end_matches('.').to_owned();
        (text != "0").then(|| format!("{text}{unit}"))
    };
    add(
        plain(placed.tilt_deg, 3, "°"),
        sign(placed.tilt_deg, "clockwise", "anticlockwise"),
    );
    add(
        plain(100.0 * placed.stretch_x, 3, "%"),
        sign(placed.stretch_x, "wide", "narrow"),
    );
    add(
        plain(100.0 * placed.stretch_y, 3, "%"),
        sign(placed.stretch_y, "tall", "short"),
    );
    said.join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::work::{Change, WorkFile};
    use tympan_sheet::Point;
    use tympan_store::Timestamp;

    fn work(how: How, words: &str, flip: Flip) -> Work {
        let said: Placed = OnBack::parse(words).expect("words").into();
        Work {
            schema: 1,
            id: "abcdefghijkm".into(),
            created: Timestamp::now(),
            files: vec![WorkFile {
                name: "game.pdf".into(),
                bytes: 1,
            }],
            has_back_file: false,
            locked: false,
            opens_with_password: false,
            pages: vec![vec![Size::new(210.0, 297.0); 2]],
            cautions: Vec::new(),
            inspecting: None,
            inspected: None,
            change: Change {
                how,
                seen: said,
                moved: said,
                flip: Some(flip),
                ..Change::default()
            },
            job: None,
            saved: None,
            runs: Vec::new(),
            put_away: false,
        }
    }

    fn at(map: Option<Coefficients>, x: f64, y: f64) -> (f64, f64) {
        let p = from_coefficients::<Page>(map.expect("a page")).apply(Point::new(x, y));
        (p.x, p.y)
    }

    fn close(a: (f64, f64), b: (f64, f64)) -> bool {
        (a.0 - b.0).abs() < 1e-9 && (a.1 - b.1).abs() < 1e-9
    }

    /// The worked signs of the frames: for 2 mm seen on the back, where the back's print lies
    /// seen from the front.
    #[test]
    fn what_is_seen_on_the_back_is_drawn_where_it_lies_seen_through() {
        let (x, y) = (50.0, 80.0);
        for (flip, words, off) in [
            (Flip::Sideways, "2mm low", (0.0, 2.0)),
            (Flip::Sideways, "2mm high", (0.0, -2.0)),
            (Flip::Sideways, "2mm left", (2.0, 0.0)),
            (Flip::Sideways, "2mm right", (-2.0, 0.0)),
            (Flip::Endways, "2mm low", (0.0, -2.0)),
            (Flip::Endways, "2mm high", (0.0, 2.0)),
            (Flip::Endways, "2mm left", (-2.0, 0.0)),
            (Flip::Endways, "2mm right", (2.0, 0.0)),
        ] {
            let shown = show(&work(How::Seen, words, flip), 0, Units::Mm).expect("a sheet");
            let behind = match flip {
                Flip::Sideways => (210.0 - x, y),
                Flip::Endways => (x, 297.0 - y),
            };
            let view = shown.from_front;
            assert!(close(
                at(view.back_before, x, y),
                (behind.0 + off.0, behind.1 + off.1)
            ));
            assert!(close(at(view.back_after, x, y), behind), "{flip} {words}");
            let view = shown.from_back;
            // Seen from the back it is where it was said to be.
            let before = at(view.back_before, x, y);
            let said = OnBack::parse(words).expect("words");
            let want = (x + said.right.to_mm(), y + said.down.to_mm());
            assert!(close(before, want), "{flip} {words}: {before:?}");
            // And after it lies exactly over the front's own place.
            let front = at(view.front, behind.0, behind.1);
            assert!(close(at(view.back_after, x, y), front));
        }
    }

    #[test]
    fn a_move_shows_the_file_before_and_after() {
        for flip in [Flip::Sideways, Flip::Endways] {
            let shown =
                show(&work(How::Move, "3mm up, 1mm right", flip), 0, Units::Mm).expect("a sheet");
            let view = shown.from_back;
            assert!(close(at(view.back_before, 10.0, 10.0), (10.0, 10.0)));
            assert!(close(at(view.back_after, 10.0, 10.0), (11.0, 7.0)));
            assert!(!shown.printed);
            assert_eq!(
                shown.moves,
                "The saved file moves the backs 3.00 mm up, 1.00 mm to the right."
            );
        }
    }

    #[test]
    fn the_sentences_say_which_side_one_looks_at() {
        let work = work(How::Seen, "2.1mm low, 0.4mm left", Flip::Sideways);
        let shown = show(&work, 0, Units::Mm).expect("a sheet");
        assert_eq!(
            shown.seen,
            "Looking at the back, your backs sit 2.1 mm too low and 0.4 mm too far left."
        );
        assert_eq!(
            shown.moves,
            "The saved file moves the backs 2.10 mm up, 0.40 mm to the right."
        );
        let shown = show(&work, 0, Units::Inch).expect("a sheet");
        assert_eq!(
            shown.seen,
            "Looking at the back, your backs sit 0.083 in too low and 0.016 in too far left."
        );
    }

    #[test]
    fn what_is_shown_as_typed_means_the_same_when_it_is_typed() {
        let text = "2.1mm low, 0.4mm left, tilted 0.2 clockwise, 0.1% wide, 0.05% short";
        for how in [How::Seen, How::Move] {
            let work = work(how, text, Flip::Sideways);
            let typed = show(&work, 0, Units::Mm).expect("a sheet").words;
            let again: Placed = OnBack::parse(&typed).expect("its own words").into();
            let first = work.change.seen;
            assert!((again.right_mm - first.right_mm).abs() < 1e-9, "{typed}");
            assert!((again.down_mm - first.down_mm).abs() < 1e-9);
            assert!((again.tilt_deg - first.tilt_deg).abs() < 1e-9);
            assert!((again.stretch_x - first.stretch_x).abs() < 1e-12);
            assert!((again.stretch_y - first.stretch_y).abs() < 1e-12);
        }
    }

    #[test]
    fn one_back_stands_behind_many_fronts() {
        let mut work = work(How::Seen, "1mm low", Flip::Sideways);
        work.pages = vec![vec![Size::new(210.0, 297.0); 5]];
        work.change.backs = "last".into();
        let sheets = sheets(&work).expect("sheets");
        assert_eq!(sheets.len(), 4);
        assert!(sheets.iter().all(|s| s.back.is_some_and(|b| b.page == 5)));
        work.change.backs = "all".into();
        assert_eq!(super::sheets(&work).expect("sheets").len(), 5);
        let shown = show(&work, 3, Units::Mm).expect("a lone back");
        assert!(shown.from_front.front.is_none() && shown.from_front.back_after.is_some());
    }

    #[test]
    fn far_moves_are_told_apart() {
        let shown = show(&work(How::Seen, "2.1in low", Flip::Sideways), 0, Units::Mm);
        assert!(shown.expect("a sheet").far_mm.is_some_and(|mm| mm > 50.0));
    }
}
