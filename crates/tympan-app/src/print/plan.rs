//! What is sent and how, settled before anything is.

use std::path::PathBuf;
use std::str::FromStr;

use serde::Serialize;
use tympan_pdf::{Document, PassMark};
use tympan_press::ipp::{
    self, Margins, Printer, Quality, Settled, Sides, Ticket, Unfit, Way, settle,
};
use tympan_sheet::{Paper, Size, Stock};
use tympan_store::{SetUp, Store};

use crate::refusal::Refusal;

/// Pages of one pass differ by no more than this, mm.
const SAME_PAGE: f64 = 1.0;

/// What is to be printed.
#[derive(Clone, Debug)]
pub struct Request {
    /// The PDF: a pass of a run, or any other.
    pub file: PathBuf,
    /// The password that opens it.
    pub password: Option<String>,
    /// Which sheets of it; all where nothing is said.
    pub sheets: Option<Span>,
    /// The paper; the pages' own size where none is given.
    pub paper: Option<Paper>,
    /// One side, or both by the machine.
    pub sides: Sides,
    /// The tray or path, in the printer's own words; else as the set-up says.
    pub source: Option<String>,
    /// The type of media, in the printer's own words; else as the set-up says.
    pub kind: Option<String>,
    /// How well.
    pub quality: Option<Quality>,
    /// The tray for prints.
    pub output_bin: Option<String>,
    /// In grey.
    pub grey: bool,
    /// As pictures of the pages though the printer takes PDF.
    pub as_raster: bool,
    /// The set-up that the file was made for.
    pub setup: Option<String>,
}

/// Sheets of a pass, counted from 1: from one to another, both included.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Span {
    /// The first.
    pub first: usize,
    /// The last; the pass's own last one where nothing is said.
    pub last: Option<usize>,
}

impl FromStr for Span {
    type Err = String;

    /// Reads `17`, `17-20` or `17-`.
    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let bad = || format!("\"{text}\" is no range of sheets: write 17, 17-20 or 17-");
        let number = |text: &str| text.trim().parse().ok().filter(|n: &usize| *n > 0);
        let span = match text.split_once(['-', '–']) {
            None => {
                let one = number(text).ok_or_else(bad)?;
                Self {
                    first: one,
                    last: Some(one),
                }
            }
            Some((first, "")) => Self {
                first: number(first).ok_or_else(bad)?,
                last: None,
            },
            Some((first, last)) => Self {
                first: number(first).ok_or_else(bad)?,
                last: Some(number(last).ok_or_else(bad)?),
            },
        };
        match span.last {
            Some(last) if last < span.first => Err(bad()),
            _ => Ok(span),
        }
    }
}

/// What will be sent to the printer once a person says yes.
#[derive(Clone, Debug, Serialize)]
pub struct Plan {
    /// The file.
    pub file: PathBuf,
    /// The printer's name.
    pub printer: String,
    /// Its address.
    pub address: String,
    /// The first sheet that is printed, counted from 1.
    pub first_sheet: usize,
    /// The last one.
    pub last_sheet: usize,
    /// How many sheets the file has.
    pub sheets_in_file: usize,
    /// The pages of the file that are printed, counted from 1: the first and the last.
    pub pages: (usize, usize),
    /// The paper.
    pub paper: Paper,
    /// The stock, where a set-up says it.
    pub stock: Option<String>,
    /// Which sides the machine prints.
    pub sides: Sides,
    /// The tray or path.
    pub source: Option<String>,
    /// The type of media.
    #[serde(rename = "type")]
    pub kind: Option<String>,
    /// How well.
    pub quality: Option<Quality>,
    /// How the file is sent.
    #[serde(flatten)]
    pub way: Way,
    /// Where the printer cannot print on this sheet, mm.
    pub margins: Option<Margins>,
    /// Names of what the job asks of the printer.
    pub asks_for: Vec<&'static str>,
    /// Worth knowing before paper moves.
    pub cautions: Vec<String>,
    /// What a mistake costs.
    pub at_stake: String,
    /// The run that the file is a pass of.
    #[serde(skip)]
    pub(super) pass: Option<PassMark>,
    #[serde(skip)]
    pub(super) password: Option<String>,
    #[serde(skip)]
    pub(super) ticket: Ticket,
    #[serde(skip)]
    pub(super) settled: Settled,
}

impl Plan {
    /// How many sheets are printed.
    pub fn sheets(&self) -> usize {
        self.last_sheet + 1 - self.first_sheet
    }

    /// The name of the run that the file is a pass of, if it is one.
    pub fn run(&self) -> Option<&str> {
        self.pass.as_ref().map(|pass| pass.run.as_str())
    }

    /// The same from a later sheet on.
    pub fn from_sheet(&self, sheet: usize) -> Self {
        let mut plan = self.clone();
        let first = sheet.clamp(self.first_sheet, self.last_sheet);
        plan.first_sheet = first;
        plan.pages.0 = (first - 1) * self.sides.per_sheet() + 1;
        plan.at_stake = at_stake(plan.sheets(), plan.stock.as_deref());
        plan
    }
}

/// Settles what is sent to a printer and how, without sending anything.
///
/// # Errors
/// A [`Refusal`] where the file cannot be printed as it is, or the printer lacks what is asked
/// for.
pub fn plan(store: Option<&Store>, request: &Request, printer: &Printer) -> Result<Plan, Refusal> {
    // A password may be known that this file does not need.
    let (document, password) = match Document::open(&request.file, None) {
        Err(error) if error.is_locked() && request.password.is_some() => {
            let password = request.password.as_deref();
            (Document::open(&request.file, password)?, password)
        }
        other => (other?, None),
    };
    let setup = match (store, &request.setup) {
        (Some(store), Some(name)) => Some(store.set_up_named(name)?),
        _ => None,
    };
    let page_size = page_size(&document)?;
    let abilities = &printer.abilities;
    let mut cautions = Vec::new();
    let paper = paper(request, page_size, abilities, &mut cautions)?;
    let is_locked = password.is_some();
    let way = match ipp::way(abilities, request.grey) {
        Ok(Way::Pdf | Way::Queue) if request.as_raster || is_locked => {
            let mut only_raster = abilities.clone();
            only_raster.formats.retain(|f| f != "application/pdf");
            ipp::way(&only_raster, request.grey)
        }
        other => other,
    };
    let way = match way {
        Err(_) if is_locked => {
            return Err(Refusal::new(
                "the file is locked with a password, so the printer cannot open it, and it takes no \
                 pictures of pages",
                "print it from a program that opens it, at 100 %",
            ));
        }
        way => way.map_err(|e| Refusal::new(e.to_string(), queue_hint(&e, printer)))?,
    };
    if way == Way::Queue {
        cautions.push(
            "this is a queue of a print service: its filters may scale the pages although they are \
             asked not to; print one sheet first, and measure its 100 mm check rule"
                .to_owned(),
        );
    }
    let per_sheet = request.sides.per_sheet();
    let pages = document.page_count();
    let sheets_in_file = pages.div_ceil(per_sheet);
    let (first, last) = sheets(request.sheets, sheets_in_file)?;
    let from_setup = |wish: &Option<String>, own: fn(&SetUp) -> &String, has: &[String]| {
        wish.clone().or_else(|| {
            let words = own(setup.as_ref()?);
            in_printers_words(words, has)
        })
    };
    let ticket = Ticket {
        name: job_name(&request.file, first, last, sheets_in_file),
        size: paper.size(),
        sides: request.sides,
        source: from_setup(&request.source, |s| &s.feed, &abilities.sources),
        kind: from_setup(&request.kind, |s| &s.media_type, &abilities.types),
        quality: request.quality,
        output_bin: request.output_bin.clone(),
        grey: request.grey,
    };
    let settled = settle(&ticket, abilities).map_err(unfit)?;
    cautions.extend(settled.cautions.iter().cloned());
    let stock = setup
        .as_ref()
        .and_then(|setup| setup.stock.as_ref())
        .map(Stock::name)
        .map(str::to_owned);
    Ok(Plan {
        file: request.file.clone(),
        printer: abilities.name.clone(),
        address: printer.address().uri(),
        first_sheet: first,
        last_sheet: last,
        sheets_in_file,
        pages: ((first - 1) * per_sheet + 1, (last * per_sheet).min(pages)),
        at_stake: at_stake(last + 1 - first, stock.as_deref()),
        paper,
        stock,
        sides: request.sides,
        source: ticket.source.clone(),
        kind: ticket.kind.clone(),
        quality: request.quality,
        way,
        margins: settled.media.margins,
        asks_for: settled.asks_for().collect(),
        cautions,
        pass: document.mark().pass,
        password: password.map(str::to_owned),
        ticket,
        settled,
    })
}

fn at_stake(sheets: usize, stock: Option<&str>) -> String {
    let s = if sheets == 1 { "" } else { "s" };
    let of = stock.map_or_else(String::new, |stock| format!(" of {stock}"));
    format!("a mistake spoils up to {sheets} sheet{s}{of}")
}

fn job_name(file: &std::path::Path, first: usize, last: usize, all: usize) -> String {
    let stem = file.file_stem().map(|stem| stem.to_string_lossy());
    let stem = stem.unwrap_or_default();
    match (first, last) {
        (1, last) if last == all => stem.into_owned(),
        _ => format!("{stem}, sheets {first}-{last}"),
    }
}

fn sheets(asked: Option<Span>, all: usize) -> Result<(usize, usize), Refusal> {
    let span = asked.unwrap_or(Span {
        first: 1,
        last: None,
    });
    let last = span.last.unwrap_or(all);
    if span.first > all || last > all {
        return Err(Refusal::new(
            format!("this file has {all} sheets, not {}", last.max(span.first)),
            "give sheets that it has, counted from 1; with --sides, two pages are one sheet",
        ));
    }
    Ok((span.first, last))
}

/// The size that all pages have.
pub(crate) fn page_size(document: &Document) -> Result<Size, Refusal> {
    let pages = document.pages()?;
    let Some(first) = pages.first() else {
        return Err(Refusal::new("this file has no pages", "give another file"));
    };
    let size = first.size;
    let other = pages.iter().position(|p| !p.size.is_close(size, SAME_PAGE));
    match other {
        None => Ok(size),
        Some(at) => {
            let odd = pages[at].size;
            Err(Refusal::new(
                format!(
                    "the pages differ in size: page 1 is {}, page {} is {}",
                    in_mm(size),
                    at + 1,
                    in_mm(odd)
                ),
                "one pass goes on one kind of sheet: print the sizes apart",
            ))
        }
    }
}

fn in_mm(size: Size) -> String {
    format!("{:.0} × {:.0} mm", size.w, size.h)
}

/// The paper as the printer feeds it.
fn paper(
    request: &Request,
    page: Size,
    abilities: &ipp::Abilities,
    cautions: &mut Vec<String>,
) -> Result<Paper, Refusal> {
    let turned = |size: Size| Size::new(size.h, size.w);
    let paper = match &request.paper {
        Some(paper) => paper.clone(),
        None => {
            let takes = |size: Size| abilities.media.iter().any(|m| m.takes(size));
            let size = match takes(page) || !takes(turned(page)) {
                true => page,
                false => turned(page),
            };
            Paper::of_size(size)?
        }
    };
    let sheet = paper.size();
    if page.is_close(sheet, SAME_PAGE) {
        return Ok(paper);
    }
    if page.is_close(turned(sheet), SAME_PAGE) {
        cautions.push(
            "the pages lie across the sheet; which way they are turned is the printer's choice, so \
             a correction for this set-up may be turned the wrong way: look at one sheet first"
                .to_owned(),
        );
        return Ok(paper);
    }
    Err(Refusal::new(
        format!(
            "the pages are {}, but {} is {}",
            in_mm(page),
            paper.title(),
            in_mm(sheet)
        ),
        "nothing is scaled to fit: put the pages on this paper first, or print on their own size",
    ))
}

/// A set-up's own words as one of the printer's keywords, where they plainly are: `rear tray` is
/// `rear`, `by-pass` is `by-pass-tray`.
fn in_printers_words(words: &str, has: &[String]) -> Option<String> {
    let plain = |text: &str| {
        let words = text.to_lowercase();
        let words = words.split(|c: char| !c.is_alphanumeric());
        let kept: Vec<&str> = words
            .filter(|word| !word.is_empty() && !matches!(*word, "tray" | "feed" | "paper" | "slot"))
            .collect();
        kept.join("-")
    };
    let words = plain(words);
    let mut alike = has
        .iter()
        .filter(|own| !words.is_empty() && plain(own) == words);
    let one = alike.next()?;
    alike.next().is_none().then(|| one.clone())
}

fn unfit(reasons: Vec<Unfit>) -> Refusal {
    let messages: Vec<&str> = reasons.iter().map(|r| r.message.as_str()).collect();
    let mut hints: Vec<&str> = reasons.iter().map(|r| r.hint.as_str()).collect();
    hints.dedup();
    Refusal::new(messages.join("; "), hints.join("; "))
}

/// What to do where the printer itself takes nothing: its queue on this machine, if one is known.
fn queue_hint(no_way: &ipp::NoWay, printer: &Printer) -> String {
    let host = &printer.address().host;
    let queues = ipp::queues();
    let own = queues.iter().find(|queue| {
        queue
            .device
            .as_ref()
            .is_some_and(|d| d.contains(host.as_str()))
    });
    match own {
        Some(queue) => format!(
            "print through this machine's queue for it: --printer {}; its filters may scale the \
             pages, so measure the check rule",
            queue.address
        ),
        None => no_way.hint().to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sheets_are_asked_for_in_three_ways() {
        let span = |first, last| Ok(Span { first, last });
        assert_eq!("17".parse::<Span>(), span(17, Some(17)));
        assert_eq!("17-20".parse::<Span>(), span(17, Some(20)));
        assert_eq!("17-".parse::<Span>(), span(17, None));
        for text in ["", "0", "20-17", "a", "1-2-3", "-4"] {
            assert!(text.parse::<Span>().is_err(), "{text}");
        }
    }

    #[test]
    fn a_set_ups_tray_is_found_among_the_printers_only_where_it_is_plain() {
        let has = ["rear", "by-pass-tray", "tray-1", "tray-2"].map(str::to_owned);
        let found = |words: &str| in_printers_words(words, &has);
        assert_eq!(found("rear tray").as_deref(), Some("rear"));
        assert_eq!(found("Rear").as_deref(), Some("rear"));
        assert_eq!(found("by-pass").as_deref(), Some("by-pass-tray"));
        assert_eq!(found("tray 2").as_deref(), Some("tray-2"));
        assert_eq!(found("tray"), None);
        assert_eq!(found("front"), None);
    }
}
