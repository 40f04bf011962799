//! What is known about a set-up: for scripts as numbers, for people in words.

use serde::Serialize;
use tympan_inspect::faults::USUAL_MARGIN_MM;
use tympan_register::{Cards, Cutting, Fit, Quantiles, Sides, Term, correction};
use tympan_sheet::{Affine, FeedAxis, Front, Length, Point, Rect, Size, USUAL_CARDS};
use tympan_store::{ReadingRecord, SetUp, Unprintable};

use crate::measure::Learnt;
use crate::refusal::Refusal;
use crate::words::{Units, seen_in_words_in};

/// The share of cards and sheets that bleed and border are worked out for.
const SHARE: f64 = 0.95;
/// Sheets that would be worth printing are looked at up to this many more.
const MORE_SHEETS: [usize; 3] = [1, 2, 4];
/// From so many sheets on, the intervals hold for loose printers too.
const ENOUGH_SHEETS: usize = 3;

/// What the report is made for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Design {
    /// The trimmed card, mm.
    pub card: Size,
    /// Cuts fall within this of where they should 19 times in 20, mm either way.
    pub cut_tolerance: Length,
    /// The units that its sentences tell lengths in; its numbers are in mm.
    pub units: Units,
}

impl Default for Design {
    /// A poker card (common practice: 63.5 × 88.9 mm) and cuts good to half a millimetre.
    fn default() -> Self {
        Self {
            card: Size::new(63.5, 88.9),
            cut_tolerance: Length::mm(0.5),
            units: Units::Mm,
        }
    }
}

/// Two figures, across and from top to bottom.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Xy {
    /// To the right, or across.
    pub x: f64,
    /// Down, or from top to bottom.
    pub y: f64,
}

/// A set-up's report. The form of its JSON is part of the contract for scripts.
#[derive(Clone, Debug, Serialize)]
pub struct Report {
    /// The version of this form.
    pub schema: u32,
    /// The set-up.
    pub setup: SetUp,
    /// Sheets that the figures rest on.
    pub sheets: usize,
    /// What repeats.
    pub steady_error: SteadyError,
    /// What differs from sheet to sheet.
    pub scatter: Scatter,
    /// Radial register error of the next sheet at a random point of the printable area, mm, after
    /// the correction.
    pub expected_after_mm: Quantiles,
    /// The same without correction.
    pub expected_before_mm: Quantiles,
    /// Where the backs lie now, in words.
    pub in_words: InWords,
    /// What the cards need.
    pub cards: CardsNeed,
    /// What more sheets would bring.
    pub more_sheets: Vec<MoreSheets>,
    /// Sheets that do not seem to belong with the others.
    pub doubtful_sheets: Vec<DoubtfulSheet>,
    /// What to bear in mind.
    pub cautions: Vec<String>,
}

/// An affine error field in the front frame about the sheet's centre: it carries where the back
/// should be to where it is.
#[derive(Clone, Debug, Serialize)]
pub struct AffineField {
    /// Shift at the centre, mm.
    pub shift_mm: Xy,
    /// Tilt, degrees, clockwise as seen from the front.
    pub tilt_deg: f64,
    /// Stretch, per cent.
    pub stretch_percent: Xy,
    /// Shear, degrees.
    pub shear_deg: f64,
    /// Covariance of shift x, shift y, tilt, stretch x, stretch y and shear, in these units.
    pub covariance: [[f64; 6]; 6],
}

impl From<tympan_register::SteadyError> for AffineField {
    fn from(error: tympan_register::SteadyError) -> Self {
        Self {
            shift_mm: Xy {
                x: error.shift_mm.x,
                y: error.shift_mm.y,
            },
            tilt_deg: error.tilt_deg,
            stretch_percent: Xy {
                x: error.stretch_percent[0],
                y: error.stretch_percent[1],
            },
            shear_deg: error.shear_deg,
            covariance: error.covariance,
        }
    }
}

/// The steady error.
#[derive(Clone, Debug, Serialize)]
pub struct SteadyError {
    /// As an affine field.
    #[serde(flatten)]
    pub field: AffineField,
    /// Each term with its 95 % interval.
    pub terms: Vec<TermReport>,
}

/// One term of the steady error.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct TermReport {
    /// Which.
    pub term: Term,
    /// The unit of the figures.
    pub unit: &'static str,
    /// The best estimate.
    pub value: f64,
    /// The lower end of the 95 % interval.
    pub low: f64,
    /// The upper end.
    pub high: f64,
    /// Whether the interval leaves out zero.
    pub real: bool,
}

/// The scatter from sheet to sheet.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct Scatter {
    /// Standard deviation of the shift, mm.
    pub sd_mm: Xy,
    /// Standard deviation of the tilt, degrees.
    pub tilt_sd_deg: f64,
    /// Sheets that it rests on.
    pub sheets: usize,
    /// 95 % intervals of these: across, down, tilt.
    pub intervals: [[f64; 2]; 3],
}

/// Sentences for people.
#[derive(Clone, Debug, Serialize)]
pub struct InWords {
    /// The answer in a sentence.
    pub answer: String,
    /// Where the backs lie now, looking at the back.
    pub seen_on_back: String,
    /// What the correction does to the back page, looking at it.
    pub correction: String,
    /// Which terms are real and which cannot be told from nothing.
    pub terms: String,
    /// How much sheets differ.
    pub scatter: String,
    /// What bleed and border to give the cards.
    pub cards: String,
    /// Whether more sheets are worth while.
    pub more_sheets: String,
}

/// What cards of this size on this sheet need.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct CardsNeed {
    /// The trimmed card, mm.
    pub card_mm: Xy,
    /// Cards on a sheet.
    pub per_sheet: usize,
    /// Cuts are good to this, 19 times in 20, mm.
    pub cut_tolerance_mm: f64,
    /// The bleed that keeps 95 % of cards free of white edges, mm.
    pub bleed_mm: f64,
    /// The bleed that keeps all cards of 95 % of sheets free of them, mm.
    pub bleed_for_sheets_mm: f64,
    /// The border that looks even on 95 % of cards, mm.
    pub border_mm: f64,
    /// The border that looks even on all cards of 95 % of sheets, mm.
    pub border_for_sheets_mm: f64,
    /// The share of cards that show white with a bleed of 3 mm.
    pub white_at_3_mm_bleed: f64,
    /// The share of cards whose border of 3 mm looks lopsided.
    pub lopsided_at_3_mm_border: f64,
}

/// What more sheets would bring: the half widths of the 95 % intervals along the feed.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct MoreSheets {
    /// How many more.
    pub sheets: usize,
    /// Of the steady error: now and then, mm.
    pub steady_mm: [f64; 2],
    /// Of the next sheet: now and then, mm.
    pub next_sheet_mm: [f64; 2],
}

/// A sheet that does not seem to belong.
#[derive(Clone, Debug, Serialize)]
pub struct DoubtfulSheet {
    /// The reading.
    pub reading: String,
    /// Its sheet number.
    pub sheet: Option<u32>,
    /// How often a sheet of this set-up would stand out as much.
    pub p: f64,
    /// With three sheets the finger may point at the wrong one.
    pub may_be_another: bool,
}

/// The size of the trimmed card that a word or a measure names.
///
/// # Errors
/// A [`Refusal`] with the names that are known.
pub fn card_size(text: &str) -> Result<Size, Refusal> {
    let plain = text.trim().to_lowercase();
    if let Some(card) = USUAL_CARDS
        .iter()
        .find(|card| card.name.to_lowercase() == plain)
    {
        return Ok(card.trim);
    }
    let unit: String = plain
        .chars()
        .rev()
        .take_while(|c| c.is_alphabetic())
        .collect();
    let unit: String = unit.chars().rev().collect();
    let measure = |part: &str| {
        let bare = part.trim().ends_with(|c: char| c.is_ascii_digit());
        let length: Length = if bare {
            format!("{part}{unit}")
        } else {
            part.into()
        }
        .parse()
        .ok()?;
        (10.0..=1000.0)
            .contains(&length.to_mm())
            .then_some(length.to_mm())
    };
    let sides = plain
        .split_once(['x', '×'])
        .and_then(|(w, h)| Some((measure(w)?, measure(h)?)));
    sides.map(|(w, h)| Size::new(w, h)).ok_or_else(|| {
        let names: Vec<&str> = USUAL_CARDS.iter().map(|card| card.name).collect();
        Refusal::new(
            format!("\"{text}\" is no card size"),
            format!("write a size like 57x87mm, or one of: {}", names.join(", ")),
        )
    })
}

/// A cutting tolerance that can be believed.
///
/// # Errors
/// A [`Refusal`] for negative ones and those over 5 mm.
pub fn cut(tolerance: Length) -> Result<Length, Refusal> {
    if (0.0..=5.0).contains(&tolerance.to_mm()) {
        return Ok(tolerance);
    }
    Err(Refusal::new(
        format!("cuts good to {tolerance} make no sense"),
        "give how far cuts stray 19 times in 20, such as 0.5mm",
    ))
}

/// The part of the sheet that the printer can print on, in the front frame.
pub fn printable(setup: &SetUp) -> Rect<Front> {
    let size = setup.paper.size();
    let usual = Unprintable {
        top: USUAL_MARGIN_MM,
        right: USUAL_MARGIN_MM,
        bottom: USUAL_MARGIN_MM,
        left: USUAL_MARGIN_MM,
    };
    let m = setup.unprintable.unwrap_or(usual);
    Rect {
        min: Point::new(m.left, m.top),
        max: Point::new(size.w - m.right, size.h - m.bottom),
    }
}

/// Cards of this size in the middle of the sheet, as many as fit with 3 mm of bleed.
pub fn usual_cells(setup: &SetUp, card: Size) -> Vec<Rect<Front>> {
    const BLEED_MM: f64 = 3.0;
    let area = printable(setup);
    let fit = |length: f64, card: f64| (((length - 2.0 * BLEED_MM) / card).floor()).max(0.0);
    let (columns, rows) = (fit(area.size().w, card.w), fit(area.size().h, card.h));
    let centre = setup.paper.size().centre::<Front>();
    let left = centre.x - columns * card.w / 2.0;
    let top = centre.y - rows * card.h / 2.0;
    let mut cells = Vec::new();
    for row in 0..rows as usize {
        for column in 0..columns as usize {
            let corner = Point::new(left + column as f64 * card.w, top + row as f64 * card.h);
            cells.push(Rect::at(corner, card));
        }
    }
    cells
}

/// Makes the report.
///
/// # Errors
/// A [`Refusal`] where the card does not fit the sheet, or the readings say something that no
/// printer does.
pub fn report(setup: &SetUp, learnt: &Learnt, design: Design) -> Result<Report, Refusal> {
    let fit = &learnt.fit;
    let cells = usual_cells(setup, design.card);
    if cells.is_empty() {
        return Err(Refusal::new(
            format!(
                "a card of {} × {} mm does not fit on the sheet",
                design.card.w, design.card.h
            ),
            "give the size of the trimmed card, such as --card poker or --card 57x87mm",
        ));
    }
    let after = fit.next_sheet(&fit.field());
    let area = printable(setup);
    let cutting = Cutting::new(design.cut_tolerance.to_mm() / 2.0);
    let need = cards_need(&after.cards(&cells, cutting), &cells, design);
    let scatter = fit.scatter();
    let expected_after_mm = after.radial(area);
    let more_sheets = MORE_SHEETS.map(|more| more_sheets(fit, more)).to_vec();
    let doubtful_sheets = doubtful(fit, &learnt.readings);
    let map = fit.field();
    let backs = correction(&map, setup.flip, setup.paper.size(), Sides::Backs)
        .map_err(|e| Refusal::new(e.to_string(), "look through the readings with log"))?
        .backs;
    let terms: Vec<TermReport> = fit
        .terms()
        .iter()
        .map(|t| TermReport {
            term: t.term,
            unit: t.term.unit(),
            value: t.estimate.value,
            low: t.estimate.low,
            high: t.estimate.high,
            real: t.real,
        })
        .collect();
    let units = design.units;
    let in_words = InWords {
        answer: answer(units, &expected_after_mm),
        seen_on_back: seen_on_back(units, setup, &map),
        correction: crate::correct::move_in_words_in(
            units,
            &crate::plan::as_page(&backs),
            setup.paper.size(),
        ),
        terms: terms_in_words(units, &terms),
        scatter: scatter_in_words(units, &scatter),
        cards: cards_in_words(units, &need),
        more_sheets: more_in_words(units, learnt.readings.len(), &more_sheets),
    };
    Ok(Report {
        schema: 1,
        sheets: fit.sheets(),
        steady_error: SteadyError {
            field: fit.steady_error().into(),
            terms,
        },
        scatter: Scatter {
            sd_mm: Xy {
                x: scatter.x_mm.value,
                y: scatter.y_mm.value,
            },
            tilt_sd_deg: scatter.tilt_deg.value,
            sheets: scatter.sheets,
            intervals: [scatter.x_mm, scatter.y_mm, scatter.tilt_deg].map(|e| [e.low, e.high]),
        },
        expected_before_mm: fit.next_sheet(&Affine::IDENTITY).radial(area),
        expected_after_mm,
        in_words,
        cards: need,
        more_sheets,
        cautions: cautions(fit, &doubtful_sheets),
        doubtful_sheets,
        setup: setup.clone(),
    })
}

fn cards_need(cards: &Cards, cells: &[Rect<Front>], design: Design) -> CardsNeed {
    CardsNeed {
        card_mm: Xy {
            x: design.card.w,
            y: design.card.h,
        },
        per_sheet: cells.len(),
        cut_tolerance_mm: design.cut_tolerance.to_mm(),
        bleed_mm: cards.bleed_for(SHARE),
        bleed_for_sheets_mm: cards.bleed_for_sheets(SHARE),
        border_mm: cards.border_for(SHARE),
        border_for_sheets_mm: cards.border_for_sheets(SHARE),
        white_at_3_mm_bleed: cards.share_white(3.0),
        lopsided_at_3_mm_border: cards.share_lopsided(3.0),
    }
}

/// A figure in these units, to a tenth of a millimetre or a hundredth of an inch.
fn coarse(units: Units, mm: f64) -> String {
    let decimals = units.decimals() - 1;
    format!("{:.decimals$}", units.of_mm(mm))
}

/// A figure in these units, to a hundredth of a millimetre or a thousandth of an inch.
fn fine(units: Units, mm: f64) -> String {
    let decimals = units.decimals();
    format!("{:.decimals$}", units.of_mm(mm))
}

fn answer(units: Units, after: &Quantiles) -> String {
    let (p95, p50, unit) = (
        coarse(units, after.p95),
        coarse(units, after.p50),
        units.name(),
    );
    format!(
        "Once corrected, backs land within {p95} {unit} of their fronts 19 times in 20, and half of \
         the time within {p50} {unit}."
    )
}

/// Where the backs lie now. The map is seen from the front; what is said is seen on the back, so
/// tilt and the mirrored axis change sign.
pub(crate) fn seen_on_back(units: Units, setup: &SetUp, map: &Affine<Front>) -> String {
    let sheet = setup.paper.size();
    let seen = setup.flip.carry_to_back(map, sheet);
    let shift = seen.displacement(sheet.centre());
    let tilt = seen.decompose().tilt.to_degrees();
    let mut said = seen_in_words_in(units, Length::mm(shift.x), Length::mm(shift.y))
        .unwrap_or_else(|| "where they should in the middle of the sheet".to_owned());
    if tilt.abs() >= 0.005 {
        let way = if tilt > 0.0 {
            "clockwise"
        } else {
            "anticlockwise"
        };
        said.push_str(&format!(", tilted {:.2}° {way}", tilt.abs()));
    }
    format!("Looking at the back, the backs sit {said}.")
}

fn terms_in_words(units: Units, terms: &[TermReport]) -> String {
    let told = |real: bool| -> Vec<String> {
        let these = terms.iter().filter(|t| t.real == real);
        these
            .map(|t| match real {
                true => {
                    let half = (t.high - t.low) / 2.0;
                    let name = t.term.name();
                    if t.unit == "mm" && units == Units::Inch {
                        let (value, half) = (units.of_mm(t.value), units.of_mm(half));
                        format!("{name} {value:+.3} ± {half:.3} in")
                    } else {
                        format!("{name} {:+.2} ± {half:.2} {}", t.value, t.unit)
                    }
                }
                false => t.term.name().to_owned(),
            })
            .collect()
    };
    let (real, rest) = (told(true), told(false));
    match (real.is_empty(), rest.is_empty()) {
        (true, _) => "Nothing steady can be told from chance yet.".to_owned(),
        (false, true) => format!("Seen from the front: {}.", real.join(", ")),
        (false, false) => format!(
            "Seen from the front: {}. Not to be told from nothing: {}.",
            real.join(", "),
            rest.join(", ")
        ),
    }
}

fn scatter_in_words(units: Units, scatter: &tympan_register::Scatter) -> String {
    let unit = units.name();
    format!(
        "From sheet to sheet the backs wander by {} {unit} across, {} {unit} down and {:.2}° \
         (standard deviations, from {} sheet{}).",
        fine(units, scatter.x_mm.value),
        fine(units, scatter.y_mm.value),
        scatter.tilt_deg.value,
        scatter.sheets,
        if scatter.sheets == 1 { "" } else { "s" }
    )
}

fn cards_in_words(units: Units, need: &CardsNeed) -> String {
    let said = |mm| coarse(units, mm);
    let unit = units.name();
    format!(
        "With cuts good to ±{} {unit}, give cards {} {unit} of bleed, or a border of {} {unit}, and \
         19 of 20 cards look right; for 19 of 20 whole sheets, {} {unit} and {} {unit}.",
        said(need.cut_tolerance_mm),
        said(need.bleed_mm),
        said(need.border_mm),
        said(need.bleed_for_sheets_mm),
        said(need.border_for_sheets_mm)
    )
}

fn more_in_words(units: Units, sheets: usize, more: &[MoreSheets]) -> String {
    let Some(two) = more.iter().find(|m| m.sheets == 2) else {
        return String::new();
    };
    let worth = two.steady_mm[1] < 0.85 * two.steady_mm[0] || sheets < ENOUGH_SHEETS;
    let said = |mm| fine(units, mm);
    format!(
        "{}: two more sheets would bring the steady error from ±{} to about ±{} {unit}, and what a \
         single sheet does from ±{} to ±{} {unit}.",
        if worth {
            "More sheets are worth while"
        } else {
            "More sheets would bring little"
        },
        said(two.steady_mm[0]),
        said(two.steady_mm[1]),
        said(two.next_sheet_mm[0]),
        said(two.next_sheet_mm[1]),
        unit = units.name(),
    )
}

fn cautions(fit: &Fit, doubtful: &[DoubtfulSheet]) -> Vec<String> {
    let mut cautions = Vec::new();
    if fit.sheets() < ENOUGH_SHEETS {
        cautions.push(format!(
            "{} sheet{} cannot show how much sheets differ: a loose printer scatters more than is \
             said here about one time in five. Read three to five.",
            fit.sheets(),
            if fit.sheets() == 1 { "" } else { "s" }
        ));
    }
    if fit.noise().factor > 1.0 {
        cautions.push(
            "the holes of single sheets do not fit together as well as careful reading would: the \
             figures allow for it, but look whether a place was misread"
                .to_owned(),
        );
    }
    for sheet in doubtful {
        let name = sheet
            .sheet
            .map_or("a sheet without a number".into(), |n| format!("sheet {n}"));
        let another = if sheet.may_be_another {
            "; with three sheets it may be another one that is off"
        } else {
            ""
        };
        cautions.push(format!(
            "{name} does not seem to belong with the others (p = {:.4}){another}. If it slipped or \
             was misread, set it aside: it is kept, and can be brought back",
            sheet.p
        ));
    }
    cautions
}

fn more_sheets(fit: &Fit, more: usize) -> MoreSheets {
    let along = match fit.model().basis().feed {
        FeedAxis::X => Term::ShiftX,
        FeedAxis::Y => Term::ShiftY,
    };
    let promises = fit.worth_of(more);
    let promise = promises
        .iter()
        .find(|p| p.term == along)
        .unwrap_or(&promises[0]);
    MoreSheets {
        sheets: more,
        steady_mm: [promise.steady.now, promise.steady.then],
        next_sheet_mm: [promise.next.now, promise.next.then],
    }
}

fn doubtful(fit: &Fit, readings: &[ReadingRecord]) -> Vec<DoubtfulSheet> {
    let Some(belonging) = fit.belonging() else {
        return Vec::new();
    };
    let strangers = belonging.strangers();
    let told = strangers.into_iter().filter_map(|i| {
        let (record, p) = (readings.get(i)?, *belonging.p_values.get(i)?);
        Some(DoubtfulSheet {
            reading: record.id.to_string(),
            sheet: record.sheet,
            p,
            may_be_another: belonging.caution,
        })
    });
    told.collect()
}
