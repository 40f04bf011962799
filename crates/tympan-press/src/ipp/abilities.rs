//! What a printer can do, from its attributes (RFC 8011, PWG 5100.7, 5100.13, 5102.4).

use serde::Serialize;
use tympan_sheet::Size;

use super::{Attributes, Value};
use crate::raster::{ColourSpace, SheetBack};

/// What a printer can do. Lists are empty where the printer says nothing.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Abilities {
    /// Its name.
    pub name: String,
    /// Make and model.
    pub model: String,
    /// Whether it is a queue of a print server, which may change what is sent.
    pub is_queue: bool,
    /// Kinds of file that it takes (`document-format-supported`).
    pub formats: Vec<String>,
    /// Ways of scaling (`print-scaling-supported`).
    pub scalings: Vec<String>,
    /// What it does where nothing is said (`print-scaling-default`).
    pub scaling_default: Option<String>,
    /// `one-sided`, `two-sided-long-edge`, `two-sided-short-edge`.
    pub sides: Vec<String>,
    /// Every combination of sheet, margins, source and type that it has (`media-col-database`).
    pub media: Vec<Media>,
    /// What is loaded (`media-col-ready`).
    pub ready: Vec<Media>,
    /// Margins that it has on some sheet, mm: smallest first.
    pub margins: MarginLists,
    /// Trays and paths (`media-source-supported`).
    pub sources: Vec<String>,
    /// Types of media (`media-type-supported`).
    pub types: Vec<String>,
    /// What a job may say about its media (`media-col-supported`).
    pub media_members: Vec<String>,
    /// `print-quality-supported`: 3 draft, 4 normal, 5 high.
    pub qualities: Vec<i32>,
    /// `print-color-mode-supported`.
    pub colour_modes: Vec<String>,
    /// Resolutions for printing, dots per inch, across and along the feed.
    pub resolutions: Vec<(f64, f64)>,
    /// Whether it prints in colour.
    pub colour: bool,
    /// What it takes of PWG raster, where it takes any.
    pub raster: Option<RasterAbilities>,
    /// Trays that prints fall into (`output-bin-supported`).
    pub output_bins: Vec<String>,
    /// How sheets come out, where the printer says it.
    pub delivery: Vec<Delivery>,
    /// Pages a minute, as its maker says.
    pub pages_per_minute: Option<i32>,
    /// Requests that it knows (`operations-supported`).
    pub operations: Vec<i32>,
    /// What a job may ask for (`job-creation-attributes-supported`).
    pub job_attributes: Vec<String>,
    /// Whether it prints a part of a file (`page-ranges-supported`).
    pub page_ranges: bool,
}

/// Margins that a printer has on some sheet, mm.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct MarginLists {
    /// At the head.
    pub top: Vec<f64>,
    /// At the right.
    pub right: Vec<f64>,
    /// At the foot.
    pub bottom: Vec<f64>,
    /// At the left.
    pub left: Vec<f64>,
}

/// A sheet as a printer takes it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Media {
    /// Across the feed, mm.
    pub width: Span,
    /// Along the feed, mm.
    pub height: Span,
    /// Where nothing can be printed, where the printer says it.
    pub margins: Option<Margins>,
    /// The tray or path.
    pub source: Option<String>,
    /// The type of media.
    #[serde(rename = "type")]
    pub kind: Option<String>,
}

/// One length, or all from one to another, mm.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Span {
    /// The shortest.
    pub from: f64,
    /// The longest.
    pub to: f64,
}

/// Edges that cannot be printed on, mm.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Margins {
    /// At the head.
    pub top: f64,
    /// At the right.
    pub right: f64,
    /// At the foot.
    pub bottom: f64,
    /// At the left.
    pub left: f64,
}

/// What a printer takes of PWG raster.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct RasterAbilities {
    /// Resolutions, dots per inch, across and along the feed.
    pub resolutions: Vec<(f64, f64)>,
    /// Colour spaces that Tympan can make too.
    pub spaces: Vec<ColourSpace>,
    /// How it wants the backs.
    pub sheet_back: SheetBack,
}

/// How a tray receives sheets.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Delivery {
    /// The tray, where it has a name.
    pub bin: Option<String>,
    /// Whether the side that was printed (of two: the first) lies up.
    pub face_up: Option<bool>,
    /// Whether the first sheet lies on top in the end.
    pub first_on_top: Option<bool>,
}

/// Sizes that differ by less are the same sheet, mm: printers round inches in several ways.
const SAME_SIZE: f64 = 0.35;

impl Span {
    /// Whether this length is in it.
    pub fn takes(&self, mm: f64) -> bool {
        mm >= self.from - SAME_SIZE && mm <= self.to + SAME_SIZE
    }

    fn is_one(&self) -> bool {
        self.from == self.to
    }
}

impl Media {
    /// Whether a sheet of this size is among these.
    pub fn takes(&self, size: Size) -> bool {
        self.width.takes(size.w) && self.height.takes(size.h)
    }

    /// Whether it is one size, not a range.
    pub fn is_one_size(&self) -> bool {
        self.width.is_one() && self.height.is_one()
    }
}

impl Margins {
    /// Whether some edge can be printed up to its very end. Printers that print so enlarge the
    /// page a little, so that no white is left at a crooked sheet's edge.
    pub fn is_borderless(&self) -> bool {
        [self.top, self.right, self.bottom, self.left].contains(&0.0)
    }

    /// The sum of all four, to compare sets of margins by.
    pub(crate) fn sum(&self) -> f64 {
        self.top + self.right + self.bottom + self.left
    }
}

/// A hundredth of a millimetre is the unit of media in IPP (PWG 5100.7).
fn mm(hundredths: i32) -> f64 {
    f64::from(hundredths) / 100.0
}

impl Abilities {
    /// Reads a printer's attributes.
    pub fn read(printer: &Attributes) -> Self {
        let texts = |name: &str| printer.texts(name);
        let media = |name: &str| printer.collections(name).filter_map(read_media).collect();
        let formats = texts("document-format-supported");
        let takes_raster = formats.iter().any(|format| format == "image/pwg-raster");
        let text = |name: &str| printer.text(name).unwrap_or_default().to_owned();
        let mut abilities = Self {
            name: text("printer-info"),
            model: text("printer-make-and-model"),
            is_queue: printer.has("cups-version")
                || texts("printer-uri-supported")
                    .iter()
                    .any(|uri| uri.contains("/printers/") || uri.contains("/classes/")),
            scalings: texts("print-scaling-supported"),
            scaling_default: printer.text("print-scaling-default").map(str::to_owned),
            sides: texts("sides-supported"),
            media: media("media-col-database"),
            ready: media("media-col-ready"),
            margins: MarginLists {
                top: read_margins(printer, "media-top-margin-supported"),
                right: read_margins(printer, "media-right-margin-supported"),
                bottom: read_margins(printer, "media-bottom-margin-supported"),
                left: read_margins(printer, "media-left-margin-supported"),
            },
            sources: texts("media-source-supported"),
            types: texts("media-type-supported"),
            media_members: texts("media-col-supported"),
            qualities: printer.integers("print-quality-supported"),
            colour_modes: texts("print-color-mode-supported"),
            resolutions: resolutions(printer, "printer-resolution-supported"),
            colour: printer.boolean("color-supported").unwrap_or(false),
            raster: takes_raster.then(|| read_raster(printer)),
            output_bins: texts("output-bin-supported"),
            delivery: read_delivery(printer),
            pages_per_minute: printer.integer("pages-per-minute"),
            operations: printer.integers("operations-supported"),
            job_attributes: texts("job-creation-attributes-supported"),
            page_ranges: printer.boolean("page-ranges-supported").unwrap_or(false),
            formats,
        };
        if abilities.name.is_empty() {
            abilities.name = text("printer-name");
        }
        // Old printers have no database, but say the sizes.
        if abilities.media.is_empty() {
            let sizes = printer.collections("media-size-supported");
            abilities.media = sizes.filter_map(read_size).collect();
        }
        if abilities.media.is_empty() {
            let named = |name: &String| sized_by_name(name);
            abilities.media = texts("media-supported").iter().filter_map(named).collect();
        }
        abilities
    }

    /// Whether it takes PDF.
    pub fn takes_pdf(&self) -> bool {
        self.formats
            .iter()
            .any(|format| format == "application/pdf")
    }

    /// Whether it says that it can leave the size alone.
    pub fn keeps_size(&self) -> bool {
        self.scalings.iter().any(|scaling| scaling == "none")
    }

    /// Whether it knows this request.
    pub fn knows(&self, operation: i32) -> bool {
        self.operations.contains(&operation)
    }

    /// Whether a job may ask for this. Printers that do not say may be asked for anything.
    pub fn job_may_say(&self, name: &str) -> bool {
        self.job_attributes.is_empty() || self.job_attributes.iter().any(|known| known == name)
    }

    /// Whether a job may say this about its media.
    pub fn media_may_say(&self, name: &str) -> bool {
        self.media_members.is_empty() || self.media_members.iter().any(|known| known == name)
    }
}

fn read_media(entry: &Attributes) -> Option<Media> {
    let size = read_size(entry.collection("media-size")?)?;
    let margin = |edge: &str| {
        let name = format!("media-{edge}-margin");
        entry.integer(&name).filter(|m| *m >= 0).map(mm)
    };
    let margins = || {
        Some(Margins {
            top: margin("top")?,
            right: margin("right")?,
            bottom: margin("bottom")?,
            left: margin("left")?,
        })
    };
    Some(Media {
        margins: margins(),
        source: entry.text("media-source").map(str::to_owned),
        kind: entry.text("media-type").map(str::to_owned),
        ..size
    })
}

/// `x-dimension` and `y-dimension`, each a length or a range.
fn read_size(size: &Attributes) -> Option<Media> {
    let span = |name: &str| {
        let (from, to) = match size.first(name)? {
            Value::Integer(one) => (*one, *one),
            Value::Range(from, to) => (*from, *to),
            _ => return None,
        };
        (from > 0 && to >= from).then(|| Span {
            from: mm(from),
            to: mm(to),
        })
    };
    Some(Media {
        width: span("x-dimension")?,
        height: span("y-dimension")?,
        margins: None,
        source: None,
        kind: None,
    })
}

/// A size from its self-describing name (PWG 5101.1).
fn sized_by_name(name: &str) -> Option<Media> {
    let is_limit = name.starts_with("custom_min") || name.starts_with("custom_max");
    let paper: tympan_sheet::Paper = name.parse().ok().filter(|_| !is_limit)?;
    let one = |mm: f64| Span { from: mm, to: mm };
    Some(Media {
        width: one(paper.size().w),
        height: one(paper.size().h),
        margins: None,
        source: None,
        kind: None,
    })
}

fn read_margins(printer: &Attributes, name: &str) -> Vec<f64> {
    let mut all: Vec<i32> = printer.integers(name);
    all.retain(|margin| *margin >= 0);
    all.sort_unstable();
    all.dedup();
    all.into_iter().map(mm).collect()
}

fn resolutions(printer: &Attributes, name: &str) -> Vec<(f64, f64)> {
    let all = printer.all(name).iter();
    all.filter_map(|value| match value {
        Value::Resolution(across, along) if *across >= 1.0 && *along >= 1.0 => {
            Some((*across, *along))
        }
        _ => None,
    })
    .collect()
}

fn read_raster(printer: &Attributes) -> RasterAbilities {
    let mut own = resolutions(printer, "pwg-raster-document-resolution-supported");
    if own.is_empty() {
        own = resolutions(printer, "printer-resolution-supported");
    }
    let spaces = printer.texts("pwg-raster-document-type-supported");
    RasterAbilities {
        resolutions: own,
        spaces: spaces
            .iter()
            .filter_map(|name| ColourSpace::of_keyword(name))
            .collect(),
        sheet_back: printer
            .text("pwg-raster-document-sheet-back")
            .and_then(SheetBack::of_keyword)
            .unwrap_or_default(),
    }
}

/// How sheets come out: `page-delivery-supported` (PWG 5100.3) or the parts of
/// `printer-output-tray` (PWG 5100.13).
fn read_delivery(printer: &Attributes) -> Vec<Delivery> {
    let bins = printer.texts("output-bin-supported");
    let trays = printer.all("printer-output-tray").iter().enumerate();
    let from_trays: Vec<Delivery> = trays
        .filter_map(|(at, value)| {
            let text = match value {
                Value::Octets(bytes) => String::from_utf8_lossy(bytes).into_owned(),
                Value::Text(text) => text.clone(),
                _ => return None,
            };
            let part = |name: &str| {
                text.split(';')
                    .filter_map(|part| part.split_once('='))
                    .find(|(key, _)| key.trim().eq_ignore_ascii_case(name))
                    .map(|(_, value)| value.trim().to_ascii_lowercase())
            };
            let face_up = match part("pagedelivery").as_deref() {
                Some("faceup") => Some(true),
                Some("facedown") => Some(false),
                _ => None,
            };
            // RFC 3805, prtOutputStackingOrder (from memory): "first to last" puts the front of
            // the next sheet against the back of the one before. Face down that is on top of it,
            // face up below it.
            let first_on_top = match (part("stackingorder").as_deref(), face_up) {
                (Some("firsttolast"), Some(up)) => Some(up),
                (Some("lasttofirst"), Some(up)) => Some(!up),
                _ => None,
            };
            (face_up.is_some() || first_on_top.is_some()).then(|| Delivery {
                bin: bins.get(at).cloned(),
                face_up,
                first_on_top,
            })
        })
        .collect();
    if !from_trays.is_empty() {
        return from_trays;
    }
    let by_keyword = |keyword: &String| {
        let (face_up, first_on_top) = match keyword.as_str() {
            "same-order-face-up" => (true, true),
            "same-order-face-down" => (false, false),
            "reverse-order-face-up" => (true, false),
            "reverse-order-face-down" => (false, true),
            _ => return None,
        };
        Some(Delivery {
            bin: None,
            face_up: Some(face_up),
            first_on_top: Some(first_on_top),
        })
    };
    let keywords = printer.texts("page-delivery-supported");
    keywords.iter().filter_map(by_keyword).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn text(text: &str) -> Value {
        Value::Text(text.to_owned())
    }

    fn delivery(attributes: &[(&str, Vec<Value>)]) -> Vec<(Option<bool>, Option<bool>)> {
        let printer = Attributes::of(attributes);
        let all = Abilities::read(&printer).delivery;
        all.into_iter()
            .map(|d| (d.face_up, d.first_on_top))
            .collect()
    }

    #[test]
    fn a_laser_that_stacks_face_down_has_the_first_sheet_at_the_bottom() {
        let tray = b"type=unRemovableBin;maxcapacity=-2;stackingorder=firstToLast;\
            pagedelivery=faceDown;"
            .to_vec();
        let told = delivery(&[("printer-output-tray", vec![Value::Octets(tray)])]);
        assert_eq!(told, [(Some(false), Some(false))]);
        let keyword = vec![text("same-order-face-down")];
        let told = delivery(&[("page-delivery-supported", keyword)]);
        assert_eq!(told, [(Some(false), Some(false))]);
    }

    #[test]
    fn a_face_up_tray_has_the_last_sheet_on_top() {
        let tray = b"stackingorder=lastToFirst;pagedelivery=faceUp".to_vec();
        let told = delivery(&[("printer-output-tray", vec![Value::Octets(tray)])]);
        assert_eq!(told, [(Some(true), Some(false))]);
        let keyword = vec![text("reverse-order-face-up"), text("system-specified")];
        let told = delivery(&[("page-delivery-supported", keyword)]);
        assert_eq!(told, [(Some(true), Some(false))]);
    }

    #[test]
    fn a_tray_that_says_nothing_of_its_order_tells_nothing() {
        let tray = b"type=other;stackingorder=unknown;pagedelivery".to_vec();
        assert!(delivery(&[("printer-output-tray", vec![Value::Octets(tray)])]).is_empty());
    }

    #[test]
    fn sheets_of_any_size_between_two_are_understood() {
        let size = Attributes::of(&[
            ("x-dimension", vec![Value::Range(8900, 21590)]),
            ("y-dimension", vec![Value::Range(12700, 35560)]),
        ]);
        let entry = Attributes::of(&[("media-size", vec![Value::Collection(size)])]);
        let printer = Attributes::of(&[("media-col-database", vec![Value::Collection(entry)])]);
        let abilities = Abilities::read(&printer);
        assert!(abilities.media[0].takes(Size::new(200.0, 250.0)));
        assert!(!abilities.media[0].takes(Size::new(297.0, 420.0)));
        assert!(!abilities.media[0].is_one_size());
    }

    #[test]
    fn an_old_printer_without_a_database_is_understood_by_the_names_of_its_media() {
        let names = [
            "iso_a4_210x297mm",
            "na_letter_8.5x11in",
            "custom_min_89x89mm",
            "nonsense",
        ];
        let names = names.iter().map(|name| text(name)).collect();
        let printer = Attributes::of(&[("media-supported", names)]);
        let abilities = Abilities::read(&printer);
        assert_eq!(abilities.media.len(), 2);
        assert!(abilities.media[1].takes(Size::new(215.9, 279.4)));
    }
}
