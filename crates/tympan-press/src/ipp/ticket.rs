//! What a job asks for, compared with what the printer has.
//!
//! `Validate-Job` is not relied on: printers accept there what they then ignore.

use std::collections::BTreeMap;

use ipp::prelude::IppValue;
use ipp::value::IppName;
use serde::{Deserialize, Serialize};
use tympan_sheet::Size;

use super::client::keyword;
use super::{Abilities, Margins, Media};

/// What a job asks for.
#[derive(Clone, Debug, PartialEq)]
pub struct Ticket {
    /// The job's name, for the printer's display.
    pub name: String,
    /// The sheet, mm: across and along the feed.
    pub size: Size,
    /// One side, or both by the machine.
    pub sides: Sides,
    /// The tray or path: `rear`, `by-pass-tray`, `tray-1`; the printer's choice where none is
    /// given.
    pub source: Option<String>,
    /// The type of media: `cardstock`, `stationery-heavyweight`.
    pub kind: Option<String>,
    /// How well.
    pub quality: Option<Quality>,
    /// The tray that prints fall into.
    pub output_bin: Option<String>,
    /// Whether to print in grey.
    pub grey: bool,
}

/// Sides that are printed in one pass.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Sides {
    /// One.
    OneSided,
    /// Both, turned about the long edge.
    TwoSidedLongEdge,
    /// Both, turned about the short edge.
    TwoSidedShortEdge,
}

impl Sides {
    /// The keyword (RFC 8011, 5.2.8).
    pub fn keyword(self) -> &'static str {
        match self {
            Self::OneSided => "one-sided",
            Self::TwoSidedLongEdge => "two-sided-long-edge",
            Self::TwoSidedShortEdge => "two-sided-short-edge",
        }
    }

    /// How many pages go on a sheet.
    pub fn per_sheet(self) -> usize {
        if self == Self::OneSided { 1 } else { 2 }
    }
}

/// How well (RFC 8011, 5.2.13).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Quality {
    /// Fast.
    Draft,
    /// As usual.
    Normal,
    /// As well as it can.
    High,
}

impl Quality {
    fn number(self) -> i32 {
        match self {
            Self::Draft => 3,
            Self::Normal => 4,
            Self::High => 5,
        }
    }
}

/// A wish that the printer cannot fulfil.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Unfit {
    /// What the printer lacks.
    pub message: String,
    /// What it has instead, or what to do.
    pub hint: String,
}

/// What will be asked of the printer.
#[derive(Clone, Debug, PartialEq)]
pub struct Settled {
    /// The sheet as the printer knows it.
    pub media: Media,
    /// Worth knowing before paper moves.
    pub cautions: Vec<String>,
    /// The job's attributes.
    pub(crate) attributes: Vec<(&'static str, IppValue)>,
}

impl Settled {
    /// The names of what the job asks for.
    pub fn asks_for(&self) -> impl Iterator<Item = &'static str> {
        self.attributes.iter().map(|(name, _)| *name)
    }
}

/// Compares a ticket with what the printer has, and settles what to ask for.
///
/// # Errors
/// Everything that does not fit.
pub fn settle(ticket: &Ticket, printer: &Abilities) -> Result<Settled, Vec<Unfit>> {
    let mut unfit = Vec::new();
    let mut cautions = Vec::new();
    let media = match sheet(ticket, printer) {
        Ok(media) => Some(media),
        Err(reasons) => {
            unfit.extend(reasons);
            None
        }
    };
    let sides = ticket.sides.keyword();
    let one_sided_unsaid = printer.sides.is_empty() && ticket.sides == Sides::OneSided;
    if !one_sided_unsaid && !printer.sides.iter().any(|side| side == sides) {
        unfit.push(Unfit {
            message: "this printer does not print both sides by itself".into(),
            hint: "print in two passes, turning the stack by hand".into(),
        });
    }
    let quality = ticket.quality.map(Quality::number);
    if let Some(quality) = quality
        && !printer.qualities.is_empty()
        && !printer.qualities.contains(&quality)
    {
        unfit.push(Unfit {
            message: "this printer does not have that quality".into(),
            hint: format!("it has: {}", qualities(&printer.qualities)),
        });
    }
    if let Some(bin) = &ticket.output_bin
        && !printer.output_bins.contains(bin)
    {
        unfit.push(Unfit {
            message: format!("this printer has no tray for prints called \"{bin}\""),
            hint: one_of(&printer.output_bins),
        });
    }
    let Some(media) = media.filter(|_| unfit.is_empty()) else {
        return Err(unfit);
    };
    if ticket.quality.is_some() && !printer.job_may_say("print-quality") {
        cautions.push("the printer takes no wish for quality; set it at the printer".to_owned());
    }
    if media.margins.is_some_and(|margins| margins.is_borderless()) {
        cautions.push(
            "this printer prints this sheet only without margins, and usually enlarges it a little \
             for that: measure the check rule on the first sheet"
                .to_owned(),
        );
    }
    let ready = |ready: &Media| {
        let source = ticket.source.is_none() || ready.source == ticket.source;
        ready.takes(ticket.size) && source
    };
    if !printer.ready.is_empty() && !printer.ready.iter().any(ready) {
        cautions.push(
            "the printer says that other paper is loaded: load this stock, and tell the printer its \
             size and type if it asks"
                .to_owned(),
        );
    }
    let mut attributes = vec![("media-col", media_col(&media, ticket, printer))];
    // A queue is told in any case: its filters heed it even where it does not list it.
    if printer.job_may_say("print-scaling") || printer.keeps_size() || printer.is_queue {
        attributes.push(("print-scaling", keyword("none")));
    }
    if !printer.sides.is_empty() {
        attributes.push(("sides", keyword(sides)));
    }
    if let Some(quality) = quality.filter(|_| printer.job_may_say("print-quality")) {
        attributes.push(("print-quality", IppValue::Enum(quality)));
    }
    if let Some(bin) = &ticket.output_bin {
        attributes.push(("output-bin", keyword(bin)));
    }
    if ticket.grey && printer.colour_modes.iter().any(|mode| mode == "monochrome") {
        attributes.push(("print-color-mode", keyword("monochrome")));
    }
    Ok(Settled {
        media,
        cautions,
        attributes,
    })
}

fn qualities(all: &[i32]) -> String {
    let name = |number: &i32| match number {
        3 => Some("draft"),
        4 => Some("normal"),
        5 => Some("high"),
        _ => None,
    };
    all.iter().filter_map(name).collect::<Vec<_>>().join(", ")
}

fn one_of(all: &[String]) -> String {
    if all.is_empty() {
        "it names none; leave this out".to_owned()
    } else {
        format!("it has: {}", all.join(", "))
    }
}

/// The sheet of this size, source and type, with the printer's own margins for it.
fn sheet(ticket: &Ticket, printer: &Abilities) -> Result<Media, Vec<Unfit>> {
    let mut unfit = Vec::new();
    let known = |all: &[String], known_in: fn(&Media) -> &Option<String>, wish: &String| {
        all.contains(wish)
            || printer
                .media
                .iter()
                .any(|m| known_in(m).as_ref() == Some(wish))
    };
    let mut all_sources = printer.sources.clone();
    let mut all_types = printer.types.clone();
    for media in &printer.media {
        all_sources.extend(media.source.clone());
        all_types.extend(media.kind.clone());
    }
    for all in [&mut all_sources, &mut all_types] {
        all.sort();
        all.dedup();
    }
    if let Some(source) = &ticket.source
        && !known(&printer.sources, |m| &m.source, source)
    {
        unfit.push(Unfit {
            message: format!("this printer has no tray or path called \"{source}\""),
            hint: one_of(&all_sources),
        });
    }
    if let Some(kind) = &ticket.kind
        && !known(&printer.types, |m| &m.kind, kind)
    {
        unfit.push(Unfit {
            message: format!("this printer has no media type \"{kind}\""),
            hint: one_of(&all_types),
        });
    }
    let fits_or_open =
        |of: &Option<String>, wish: &Option<String>| of.is_none() || wish.is_none() || of == wish;
    let of_size: Vec<&Media> = printer
        .media
        .iter()
        .filter(|media| media.takes(ticket.size))
        .collect();
    if of_size.is_empty() {
        let size = ticket.size;
        unfit.push(Unfit {
            message: format!(
                "this printer does not take sheets of {} × {} mm",
                short(size.w),
                short(size.h)
            ),
            hint: sizes(printer),
        });
        return Err(unfit);
    }
    if !unfit.is_empty() {
        return Err(unfit);
    }
    let best = of_size
        .iter()
        .filter(|media| {
            fits_or_open(&media.source, &ticket.source) && fits_or_open(&media.kind, &ticket.kind)
        })
        .min_by(|a, b| rank(a, ticket).total_cmp(&rank(b, ticket)));
    let Some(best) = best else {
        let mut where_then: Vec<String> = of_size.iter().filter_map(|m| m.source.clone()).collect();
        where_then.sort();
        where_then.dedup();
        return Err(vec![Unfit {
            message: "this printer does not take that sheet from there, or not as that type".into(),
            hint: format!("it takes this size from: {}", where_then.join(", ")),
        }]);
    };
    Ok(Media {
        margins: best.margins.or_else(|| smallest_margins(printer)),
        source: ticket.source.clone(),
        kind: ticket.kind.clone(),
        ..(*best).clone()
    })
}

/// Which of several entries for a sheet to take: what was asked for by name, one size before a
/// range, with margins before without (printing without enlarges), small margins before wide.
fn rank(media: &Media, ticket: &Ticket) -> f64 {
    let named = |of: &Option<String>, wish: &Option<String>| wish.is_some() && of == wish;
    let mut rank = 0.0;
    if !named(&media.source, &ticket.source) {
        rank += 10_000.0;
    }
    if !named(&media.kind, &ticket.kind) {
        rank += 10_000.0;
    }
    if !media.is_one_size() {
        rank += 4_000.0;
    }
    match media.margins {
        None => rank + 1_000.0,
        Some(margins) if margins.is_borderless() => rank + 2_000.0,
        Some(margins) => rank + margins.sum(),
    }
}

/// Margins from the printer's lists, where its sheets have none of their own.
fn smallest_margins(printer: &Abilities) -> Option<Margins> {
    let lists = &printer.margins;
    let of = |list: &[f64]| {
        let with = list.iter().copied().find(|margin| *margin > 0.0);
        with.or_else(|| list.first().copied())
    };
    Some(Margins {
        top: of(&lists.top)?,
        right: of(&lists.right)?,
        bottom: of(&lists.bottom)?,
        left: of(&lists.left)?,
    })
}

fn short(mm: f64) -> String {
    crate::ipp::short_mm(mm)
}

fn sizes(printer: &Abilities) -> String {
    let mut all: Vec<String> = Vec::new();
    for media in &printer.media {
        let said = if media.is_one_size() {
            let (w, h) = (media.width.from, media.height.from);
            format!("{} × {}", short(w), short(h))
        } else {
            let (w, h) = (media.width, media.height);
            format!(
                "{} to {} × {} to {}",
                short(w.from),
                short(w.to),
                short(h.from),
                short(h.to)
            )
        };
        if !all.contains(&said) {
            all.push(said);
        }
    }
    const SHOWN: usize = 12;
    let more = if all.len() > SHOWN { " …" } else { "" };
    all.truncate(SHOWN);
    format!("it takes, in mm: {}{more}", all.join(", "))
}

fn media_col(media: &Media, ticket: &Ticket, printer: &Abilities) -> IppValue {
    let hundredths = |mm: f64| IppValue::Integer((mm * 100.0).round() as i32);
    let mut members: BTreeMap<IppName, IppValue> = BTreeMap::new();
    let mut put = |name: &str, value: IppValue| {
        members.insert(IppName::new_truncated(name), value);
    };
    // The printer's own figures, so that it knows the sheet again.
    let (w, h) = if media.is_one_size() {
        (media.width.from, media.height.from)
    } else {
        (ticket.size.w, ticket.size.h)
    };
    let mut size: BTreeMap<IppName, IppValue> = BTreeMap::new();
    size.insert(IppName::new_truncated("x-dimension"), hundredths(w));
    size.insert(IppName::new_truncated("y-dimension"), hundredths(h));
    put("media-size", IppValue::Collection(size));
    if let Some(margins) = media.margins {
        let edges = [
            ("media-top-margin", margins.top),
            ("media-right-margin", margins.right),
            ("media-bottom-margin", margins.bottom),
            ("media-left-margin", margins.left),
        ];
        for (name, margin) in edges {
            if printer.media_may_say(name) {
                put(name, hundredths(margin));
            }
        }
    }
    if let Some(source) = &media.source {
        put("media-source", keyword(source));
    }
    if let Some(kind) = &media.kind {
        put("media-type", keyword(kind));
    }
    IppValue::Collection(members)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ipp::Span;

    fn a4(margins: Option<[f64; 4]>, source: &str, kind: &str) -> Media {
        let one = |mm: f64| Span { from: mm, to: mm };
        Media {
            width: one(210.0),
            height: one(297.0),
            margins: margins.map(|[top, right, bottom, left]| Margins {
                top,
                right,
                bottom,
                left,
            }),
            source: Some(source.to_owned()),
            kind: Some(kind.to_owned()),
        }
    }

    fn printer(media: Vec<Media>) -> Abilities {
        Abilities {
            media,
            scalings: vec!["auto".into(), "none".into()],
            sides: vec!["one-sided".into()],
            ..Abilities::default()
        }
    }

    fn ticket() -> Ticket {
        Ticket {
            name: "backs".into(),
            size: Size::new(210.0, 297.0),
            sides: Sides::OneSided,
            source: Some("rear".into()),
            kind: None,
            quality: None,
            output_bin: None,
            grey: false,
        }
    }

    #[test]
    fn the_sheet_with_margins_is_taken_before_the_one_printed_to_the_edge() {
        let printer = printer(vec![
            a4(Some([0.0; 4]), "rear", "cardstock"),
            a4(Some([3.0, 3.0, 14.0, 3.0]), "rear", "cardstock"),
            a4(Some([3.0; 4]), "main", "stationery"),
        ]);
        let settled = settle(&ticket(), &printer).expect("it fits");
        assert_eq!(settled.media.margins.map(|m| m.bottom), Some(14.0));
        assert!(settled.cautions.is_empty());
    }

    #[test]
    fn printing_to_the_edge_only_is_a_caution() {
        let printer = printer(vec![a4(Some([0.0; 4]), "rear", "cardstock")]);
        let settled = settle(&ticket(), &printer).expect("it fits");
        assert!(settled.cautions[0].contains("usually enlarges"));
    }

    #[test]
    fn all_that_does_not_fit_is_told_at_once() {
        let printer = printer(vec![a4(None, "main", "stationery")]);
        let wish = Ticket {
            kind: Some("cardstock".into()),
            sides: Sides::TwoSidedLongEdge,
            ..ticket()
        };
        let unfit = settle(&wish, &printer).expect_err("it does not fit");
        let told: Vec<&str> = unfit.iter().map(|u| u.message.as_str()).collect();
        assert_eq!(
            told,
            [
                "this printer has no tray or path called \"rear\"",
                "this printer has no media type \"cardstock\"",
                "this printer does not print both sides by itself"
            ]
        );
        assert_eq!(unfit[0].hint, "it has: main");
    }

    #[test]
    fn other_paper_in_the_tray_is_a_caution() {
        let mut printer = printer(vec![a4(Some([3.0; 4]), "rear", "cardstock")]);
        printer.ready = vec![a4(None, "main", "stationery")];
        let settled = settle(&ticket(), &printer).expect("it fits");
        assert!(settled.cautions[0].contains("other paper is loaded"));
    }
}
