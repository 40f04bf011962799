//! How well the backs line up: all readings of a set-up as a person looks at them, from the back.

use std::fmt::Write as _;
use std::sync::{Arc, Mutex, PoisonError};

use serde::Serialize;
use tympan_sheet::{Front, Point, Size};
use tympan_store::{ReadingId, ReadingRecord, SetAside, SetUp, Store, Timestamp, Way};

use crate::measure::{self, Learnt, own_fit};
use crate::refusal::Refusal;
use crate::report::{Design, Report, Xy, report, seen_on_back};
use crate::setups::WELL_KNOWN;
use crate::words::Units;

/// Arrows across and down.
const ARROWS: (u32, u32) = (4, 6);
/// Radius that holds 95 % of a normal distribution in the plane: √(−2 ln 0.05).
const RADIUS_95: f64 = 2.4477;

/// What is known of a set-up, for looking at. Places and directions are as seen on the back:
/// x right, y down, mm.
#[derive(Clone, Debug)]
pub struct LinesUp {
    /// The set-up.
    pub setup: SetUp,
    /// The report, where any reading is in use.
    pub report: Option<Report>,
    /// The answer in a sentence.
    pub answer: String,
    /// What to do next, in a sentence.
    pub next: String,
    /// All readings in the order in which they came in, those set aside, too.
    pub sheets: Vec<SheetSeen>,
    /// The steady error over the sheet.
    pub arrows: Vec<Arrow>,
    /// Where the steady error is at the middle of the sheet, and how sure that is.
    pub steady: Option<Ellipse>,
    /// Where 19 of 20 sheets land.
    pub next_sheets: Option<Ellipse>,
}

/// The steady error at a place.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct Arrow {
    /// Where the back should be.
    pub at: Xy,
    /// How far from there it is.
    pub off: Xy,
}

/// An ellipse that holds 95 %.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Ellipse {
    /// Its middle.
    pub middle: Xy,
    /// The longer half axis, mm.
    pub long: f64,
    /// The shorter one, mm.
    pub short: f64,
    /// The direction of the longer one, clockwise from the right, degrees.
    pub tilt_deg: f64,
    /// Half its extent across, mm.
    pub half_x: f64,
    /// And from top to bottom, mm.
    pub half_y: f64,
}

impl Ellipse {
    /// The 95 % ellipse of a covariance.
    fn of(middle: Xy, [[xx, xy], [_, yy]]: [[f64; 2]; 2]) -> Self {
        let (mean, half) = ((xx + yy) / 2.0, ((xx - yy) / 2.0).hypot(xy));
        let axis = |variance: f64| RADIUS_95 * variance.max(0.0).sqrt();
        Self {
            middle,
            long: axis(mean + half),
            short: axis(mean - half),
            tilt_deg: (0.5 * (2.0 * xy).atan2(xx - yy)).to_degrees(),
            half_x: axis(xx),
            half_y: axis(yy),
        }
    }
}

/// One sheet that was read.
#[derive(Clone, Debug)]
pub struct SheetSeen {
    /// The reading.
    pub reading: ReadingId,
    /// The number on the sheet.
    pub number: Option<u32>,
    /// When it was read.
    pub taken_at: Timestamp,
    /// How.
    pub way: Way,
    /// Where its back lies at the middle of the sheet, and how sure that is.
    pub at: Ellipse,
    /// Its tilt as seen on the back, clockwise, degrees.
    pub tilt_deg: f64,
    /// The same in words.
    pub in_words: String,
    /// What was to be known when it was read.
    pub warnings: Vec<String>,
    /// The picture that shows it.
    pub evidence: Option<String>,
    /// Why it is not used, if it is not.
    pub set_aside: Option<SetAside>,
    /// Whether it does not seem to belong with the others.
    pub doubtful: bool,
}

impl SheetSeen {
    /// What people call it.
    pub fn name(&self) -> String {
        self.number.map_or_else(
            || "a sheet without a number".to_owned(),
            |number| format!("sheet {number}"),
        )
    }
}

/// What was found of set-ups, for as long as neither they nor their readings change: to reckon it
/// takes longer than a page may.
#[derive(Debug, Default)]
pub struct Found(Mutex<Vec<(Basis, Arc<LinesUp>)>>);

/// What the answer depends on.
#[derive(Debug, PartialEq)]
struct Basis {
    setup: SetUp,
    units: Units,
    readings: Vec<ReadingRecord>,
}

impl Found {
    /// Looks at a set-up's readings as [`lines_up`] does, unless that was done before.
    ///
    /// # Errors
    /// As [`lines_up`].
    pub fn lines_up(
        &self,
        store: &Store,
        setup: &SetUp,
        units: Units,
    ) -> Result<Arc<LinesUp>, Refusal> {
        let basis = Basis {
            setup: setup.clone(),
            units,
            readings: store.readings(&setup.id)?,
        };
        let known = |all: &Vec<(Basis, Arc<LinesUp>)>| {
            let found = all.iter().find(|(known, _)| *known == basis);
            found.map(|(_, found)| Arc::clone(found))
        };
        let kept = || self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(found) = known(&kept()) {
            return Ok(found);
        }
        let found = Arc::new(lines_up(store, setup, units)?);
        let mut kept = kept();
        kept.retain(|(known, _)| known.setup.id != setup.id || known.units != units);
        kept.push((basis, Arc::clone(&found)));
        Ok(found)
    }
}

/// Looks at a set-up's readings.
///
/// # Errors
/// A [`Refusal`] where the store cannot be read or the readings say something that no printer
/// does.
pub fn lines_up(store: &Store, setup: &SetUp, units: Units) -> Result<LinesUp, Refusal> {
    let readings = store.readings(&setup.id)?;
    let in_use = readings.iter().filter(|r| r.is_in_use()).count();
    let learnt = match in_use {
        0 => None,
        _ => Some(measure::learn(store, setup)?),
    };
    let design = Design {
        units,
        ..Design::default()
    };
    let report = learnt
        .as_ref()
        .map(|learnt| report(setup, learnt, design))
        .transpose()?;
    let seeing = Seeing { setup };
    let mut sheets = readings
        .iter()
        .map(|record| seeing.sheet(record, units))
        .collect::<Result<Vec<_>, _>>()?;
    for doubtful in report.iter().flat_map(|report| &report.doubtful_sheets) {
        for sheet in &mut sheets {
            sheet.doubtful |= sheet.reading.as_str() == doubtful.reading;
        }
    }
    let (steady, next_sheets) = match &learnt {
        Some(learnt) => {
            let (steady, next) = seeing.ellipses(learnt);
            (Some(steady), Some(next))
        }
        None => (None, None),
    };
    Ok(LinesUp {
        answer: answer(report.as_ref()),
        next: next(in_use),
        arrows: learnt.as_ref().map_or(Vec::new(), |l| seeing.arrows(l)),
        steady,
        next_sheets,
        sheets,
        report,
        setup: setup.clone(),
    })
}

fn answer(report: Option<&Report>) -> String {
    report.map_or_else(
        || "Nothing is known of this set-up yet: no sheet of it has been read.".to_owned(),
        |report| report.in_words.answer.clone(),
    )
}

fn next(in_use: usize) -> String {
    match WELL_KNOWN.saturating_sub(in_use) {
        0 => String::new(),
        n if in_use == 0 => format!("Print and read {n} test sheets: that tells a printer well."),
        1 => "Read one more sheet: a single one cannot show how much sheets differ.".to_owned(),
        n => format!("Read {n} more sheets: a single one cannot show how much sheets differ."),
    }
}

/// The front frame as it is seen on the back of a set-up's sheet.
struct Seeing<'a> {
    setup: &'a SetUp,
}

impl Seeing<'_> {
    fn size(&self) -> Size {
        self.setup.paper.size()
    }

    /// +1 or −1 for each axis.
    fn signs(&self) -> [f64; 2] {
        let v = self
            .setup
            .flip
            .vector_to_back(tympan_sheet::Vector::new(1.0, 1.0));
        [v.x, v.y]
    }

    fn seen(&self, x: f64, y: f64) -> Xy {
        let [sx, sy] = self.signs();
        Xy {
            x: sx * x,
            y: sy * y,
        }
    }

    fn ellipse(&self, x: f64, y: f64, covariance: [[f64; 2]; 2]) -> Ellipse {
        let [sx, sy] = self.signs();
        let [[xx, xy], [_, yy]] = covariance;
        let crossed = sx * sy * xy;
        Ellipse::of(self.seen(x, y), [[xx, crossed], [crossed, yy]])
    }

    fn sheet(&self, record: &ReadingRecord, units: Units) -> Result<SheetSeen, Refusal> {
        let fit = own_fit(self.setup, record)?;
        let own = fit.steady_error();
        let c = own.covariance;
        Ok(SheetSeen {
            reading: record.id.clone(),
            number: record.sheet,
            taken_at: record.taken_at,
            way: record.way.clone(),
            at: self.ellipse(
                own.shift_mm.x,
                own.shift_mm.y,
                [[c[0][0], c[0][1]], [c[1][0], c[1][1]]],
            ),
            // A mirror turns tilts round, whichever way the sheet is flipped.
            tilt_deg: -own.tilt_deg,
            in_words: seen_on_back(units, self.setup, &fit.field()),
            warnings: record.warnings.clone(),
            evidence: record.evidence.clone(),
            set_aside: record.set_aside.clone(),
            doubtful: false,
        })
    }

    fn ellipses(&self, learnt: &Learnt) -> (Ellipse, Ellipse) {
        let own = learnt.fit.steady_error();
        let c = own.covariance;
        let sure = [[c[0][0], c[0][1]], [c[1][0], c[1][1]]];
        let s = learnt.fit.scatter_covariance();
        let both = [
            [sure[0][0] + s[0][0], sure[0][1] + s[0][1]],
            [sure[1][0] + s[1][0], sure[1][1] + s[1][1]],
        ];
        let (x, y) = (own.shift_mm.x, own.shift_mm.y);
        (self.ellipse(x, y, sure), self.ellipse(x, y, both))
    }

    fn arrows(&self, learnt: &Learnt) -> Vec<Arrow> {
        let field = learnt.fit.steady_field();
        let (size, flip) = (self.size(), self.setup.flip);
        let mut arrows = Vec::new();
        for row in 0..ARROWS.1 {
            for column in 0..ARROWS.0 {
                let part = |i: u32, n: u32| (f64::from(i) + 0.5) / f64::from(n);
                let at = Point::<Front>::new(
                    size.w * part(column, ARROWS.0),
                    size.h * part(row, ARROWS.1),
                );
                let on_back = flip.to_back(at, size);
                let off = field.at(at);
                arrows.push(Arrow {
                    at: Xy {
                        x: on_back.x,
                        y: on_back.y,
                    },
                    off: self.seen(off.x, off.y),
                });
            }
        }
        arrows
    }
}

/// All readings as a table, a line for each: where the back lies at the middle of the sheet, seen
/// on the back, and how sure that is.
///
/// # Errors
/// As for [`lines_up`].
pub fn table(store: &Store, setup: &SetUp) -> Result<String, Refusal> {
    let seeing = Seeing { setup };
    let mut csv = String::from(
        "reading,sheet,taken_at,way,low_mm,right_mm,clockwise_deg,sure_down_mm,sure_across_mm,set_aside\n",
    );
    for record in store.readings(&setup.id)? {
        let seen = seeing.sheet(&record, Units::Mm)?;
        let aside = seen
            .set_aside
            .map_or(String::new(), |aside| quoted(&aside.reason));
        // Writing to a String cannot fail.
        let _ = writeln!(
            csv,
            "{},{},{},{},{:.4},{:.4},{:.4},{:.4},{:.4},{aside}",
            seen.reading,
            seen.number.map_or(String::new(), |n| n.to_string()),
            seen.taken_at,
            seen.way,
            seen.at.middle.y,
            seen.at.middle.x,
            seen.tilt_deg,
            seen.at.half_y,
            seen.at.half_x,
        );
    }
    Ok(csv)
}

/// A field of a table (RFC 4180). A leading sign must not make a spreadsheet compute.
fn quoted(text: &str) -> String {
    let text = text.replace('"', "\"\"");
    let safe = text.starts_with(['=', '+', '-', '@']);
    format!("\"{}{text}\"", if safe { "'" } else { "" })
}

/// A length with its unit, never without: `2.10 mm`.
pub fn length(units: Units, mm: f64) -> String {
    let decimals = units.decimals();
    let length = units.of_mm(mm);
    format!("{length:.decimals$} {}", units.name())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::{ByEye, parse_hole, read_by_eye};
    use tympan_sheet::Flip;

    fn measured(flip: Flip, words: &str, sheets: u32) -> (Store, SetUp) {
        let mut store = Store::open_in_memory().expect("a store");
        let setup = SetUp::new("one", "a4".parse().expect("paper"), flip);
        store.add_set_up(&setup).expect("kept");
        store
            .issue_sheets(&setup.id, sheets.max(1))
            .expect("issued");
        let setup = store.set_up(&setup.id).expect("there");
        let read: Vec<ByEye> = (1..=sheets)
            .map(|sheet| ByEye {
                sheet: Some(sheet),
                holes: ["A", "B", "C", "D", "E", "F"]
                    .map(|place| parse_hole(&format!("{place}: {words}")).expect("words"))
                    .to_vec(),
                ..ByEye::default()
            })
            .collect();
        read_by_eye(&mut store, &setup, &read, false).expect("read");
        (store, setup)
    }

    /// Low is down and left is left on the picture, whichever way the sheet is flipped.
    #[test]
    fn what_was_seen_on_the_back_is_shown_as_it_was_seen() {
        for flip in [Flip::Sideways, Flip::Endways] {
            let (store, setup) = measured(flip, "2.1 low, 0.4 left", 3);
            let seen = lines_up(&store, &setup, Units::Mm).expect("seen");
            for sheet in &seen.sheets {
                let Xy { x, y } = sheet.at.middle;
                assert!(
                    (x + 0.4).abs() < 0.05 && (y - 2.1).abs() < 0.05,
                    "{flip}: {x} {y}"
                );
                assert!(sheet.in_words.contains("too low"), "{}", sheet.in_words);
            }
            for arrow in &seen.arrows {
                assert!(arrow.off.y > 1.5 && arrow.off.x < -0.2, "{flip}: {arrow:?}");
            }
            let steady = seen.steady.expect("known").middle;
            assert!((steady.y - 2.1).abs() < 0.2 && (steady.x + 0.4).abs() < 0.2);
            let table = table(&store, &setup).expect("a table");
            assert_eq!(table.lines().count(), 4);
            let first: Vec<&str> = table.lines().nth(1).expect("a line").split(',').collect();
            assert!((first[4].parse::<f64>().expect("a number") - 2.1).abs() < 0.05);
        }
    }

    #[test]
    fn sheets_set_aside_are_shown_and_not_learnt_from() {
        let (mut store, setup) = measured(Flip::Sideways, "1 low", 2);
        let id = store.readings(&setup.id).expect("readings")[0].id.clone();
        store
            .set_aside(&id, "=slipped, \"badly\"")
            .expect("set aside");
        let seen = lines_up(&store, &setup, Units::Inch).expect("seen");
        assert_eq!(seen.sheets.len(), 2);
        assert!(seen.sheets[0].set_aside.is_some());
        assert_eq!(seen.report.expect("a report").sheets, 1);
        assert!(seen.next.starts_with("Read 2 more sheets"), "{}", seen.next);
        assert!(
            seen.answer.contains(" in of their fronts"),
            "{}",
            seen.answer
        );
        let table = table(&store, &setup).expect("a table");
        assert!(table.contains(r#""'=slipped, ""badly""""#), "{table}");
    }

    #[test]
    fn what_was_found_is_kept_until_something_changes() {
        let (mut store, setup) = measured(Flip::Sideways, "1 low", 2);
        let found = Found::default();
        let first = found.lines_up(&store, &setup, Units::Mm).expect("seen");
        let inches = found.lines_up(&store, &setup, Units::Inch).expect("seen");
        assert_ne!(first.answer, inches.answer);
        let again = found.lines_up(&store, &setup, Units::Mm).expect("seen");
        assert!(Arc::ptr_eq(&first, &again));
        let id = store.readings(&setup.id).expect("readings")[0].id.clone();
        store.set_aside(&id, "slipped").expect("set aside");
        let changed = found.lines_up(&store, &setup, Units::Mm).expect("seen");
        assert!(changed.sheets[0].set_aside.is_some());
        let mut other = setup.clone();
        other.flip = Flip::Endways;
        let turned = found.lines_up(&store, &other, Units::Mm).expect("seen");
        assert_eq!(turned.setup.flip, Flip::Endways);
    }

    #[test]
    fn a_set_up_without_readings_says_what_to_do() {
        let store = Store::open_in_memory().expect("a store");
        let setup = SetUp::new("new", "a4".parse().expect("paper"), Flip::Sideways);
        let seen = lines_up(&store, &setup, Units::Mm).expect("seen");
        assert!(seen.report.is_none() && seen.sheets.is_empty());
        assert!(seen.next.contains("Print and read 3"), "{}", seen.next);
    }
}
