//! Printing a pass from the page: what is wished for, what a child does, what is kept of it.

use std::path::PathBuf;
use std::sync::atomic::AtomicBool;
use std::time::Duration;

use serde::{Deserialize, Serialize};
use tympan_pdf::Document;
use tympan_sheet::{BindingEdge, Flip};

use super::work::{Job, JobKind};
use crate::on_page::on_page;
use crate::print::{
    self, Access, Fingerprint, Happening, Patience, Plan, Printer, PrinterError, Quality, Request,
    Sides, Span, Watch,
};
use crate::refusal::Refusal;
use crate::words::Units;

/// How long a printer may stay silent or busy.
const PATIENCE: Duration = Duration::from_secs(120);
/// How long it may take to answer at all, with somebody looking at the page.
const QUICK: Duration = Duration::from_secs(8);
/// Lines of what happened that are kept.
const MOST_SAID: usize = 60;

/// A pass to be printed, as it is wished for on the page.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct PrintWish {
    /// Of the run itself (0), or of sheets that were made again (from 1).
    pub group: usize,
    /// The pass's file.
    pub file: String,
    /// The printer's address, or its name on the network.
    pub printer: String,
    /// Which sheets of the file: `17`, `17-20` or `17-`; all where nothing is said.
    pub sheets: String,
    /// The tray or path, in the printer's own words; else as the set-up says.
    pub source: String,
    /// The type of media, in the printer's own words; else as the set-up says.
    pub kind: String,
    /// How well.
    pub quality: Option<Quality>,
    /// The certificate that a person has agreed to.
    pub certificate: Option<String>,
    /// The name for a printer that wants a password.
    pub user: String,
    /// How many sheets a person has agreed to; none before that.
    pub agreed: Option<usize>,
}

/// What a child is to print, or only to plan.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct PrintIn {
    /// The data folder.
    pub data: PathBuf,
    /// The pass.
    pub file: PathBuf,
    /// The set-up's name, where the file was made for one.
    pub setup: Option<String>,
    /// How the machine turns the sheets over, where it is to print both sides.
    pub turned: Option<Flip>,
    /// The sheets of the file that may be printed, from 1; all where nothing is said.
    pub within: Option<(usize, usize)>,
    /// How.
    pub wish: PrintWish,
    /// The printer's password. Never written down.
    pub password: Option<String>,
    /// The password that opens the file. Never written down.
    pub opens: Option<String>,
}

/// What a printer answered before anything is printed.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "answer")]
pub enum Answered {
    /// This would be printed.
    Plan(PlanTold),
    /// Its certificate is not known here.
    Certificate {
        /// Where it answers.
        place: String,
        /// The fingerprint that it shows.
        shown: String,
        /// What is the matter with it.
        message: String,
        /// What to look at before it is taken.
        hint: String,
    },
    /// It wants a password, or does not take this one.
    Password {
        /// What it said.
        message: String,
    },
}

/// What would be printed, for a person to say yes to.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct PlanTold {
    /// The printer's name.
    pub printer: String,
    /// Its address.
    pub address: String,
    /// How many sheets are printed.
    pub sheets: usize,
    /// The first of them in the file.
    pub first: usize,
    /// What is printed and how: what each line is about, and the line.
    pub lines: Vec<(String, String)>,
    /// What a mistake costs.
    pub at_stake: String,
    /// Worth knowing before paper moves.
    pub cautions: Vec<String>,
    /// What the printer can do.
    pub abilities: Vec<String>,
    /// Its trays and paths.
    pub sources: Vec<String>,
    /// Its types of media.
    pub kinds: Vec<String>,
}

impl Answered {
    /// The same with its lengths in these units.
    #[must_use]
    pub fn in_units(mut self, units: Units) -> Self {
        if let Self::Plan(plan) = &mut self {
            let lines = plan.lines.iter_mut().map(|(_, line)| line);
            for line in lines.chain(&mut plan.cautions).chain(&mut plan.abilities) {
                *line = units.said(line);
            }
        }
        self
    }
}

/// How printing ended.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct EndTold {
    /// Whether all sheets are printed.
    pub printed: bool,
    /// How it ended, in words.
    pub in_words: String,
    /// The sheet of the file to go on with, where not all came out.
    pub go_on_from: Option<usize>,
    /// The last sheet that was to be printed.
    pub last: usize,
    /// Whether the printer counted the sheets.
    pub counted: bool,
}

/// What is being printed, or was last.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Printing {
    /// What was wished for.
    pub wish: PrintWish,
    /// What a person said yes to.
    pub plan: PlanTold,
    /// How far it is: sheets that are out.
    pub job: Job,
    /// What happened, the latest last.
    pub said: Vec<String>,
    /// How it ended.
    pub ended: Option<EndTold>,
    /// Nothing was begun, since the printer wants a password, or another one.
    #[serde(default)]
    pub wants_password: bool,
}

impl Printing {
    /// Printing that begins.
    pub fn begun(wish: PrintWish, plan: PlanTold) -> Self {
        Self {
            wish,
            job: Job {
                total: plan.sheets,
                ..Job::begun(JobKind::Print)
            },
            plan,
            said: Vec::new(),
            ended: None,
            wants_password: false,
        }
    }

    /// Takes in what happened.
    pub fn hears(&mut self, words: &str, out: Option<usize>) {
        if let Some(out) = out {
            self.job.done = out;
            return;
        }
        self.said.push(words.to_owned());
        let more = self.said.len().saturating_sub(MOST_SAID);
        self.said.drain(..more);
    }

    /// The program ended while it was printing: says whether that was so.
    pub(super) fn was_cut_short(&mut self) -> bool {
        let why = Refusal::new(
            "Tympan was closed while this was being printed; the printer may have gone on by itself",
            "count the good sheets in the tray, then go on with the next one",
        );
        if !self.job.cut_short(&why) {
            return false;
        }
        self.ended = Some(EndTold {
            in_words: why.message,
            go_on_from: Some(self.plan.first + self.job.done).filter(|n| *n <= self.last()),
            last: self.last(),
            ..EndTold::default()
        });
        true
    }

    fn last(&self) -> usize {
        (self.plan.first + self.plan.sheets).saturating_sub(1)
    }
}

impl PrintIn {
    fn open(&self) -> Result<Result<Printer, Answered>, Refusal> {
        let address = print::locate(&self.wish.printer)?;
        let certificate = self.wish.certificate.as_deref();
        let certificate = certificate
            .map(|text| text.parse::<Fingerprint>())
            .transpose()
            .map_err(|_| {
                Refusal::new(
                    "this is no certificate's fingerprint",
                    "ask the printer again",
                )
            })?;
        let password = self.password.clone().unwrap_or_default();
        let user = Some(self.wish.user.clone()).filter(|user| !user.is_empty());
        let access = Access {
            user: user.map(|user| (user, password)),
            certificate,
        };
        let data = Some(self.data.clone());
        let patience = Patience {
            connect: QUICK,
            answer: 2 * QUICK,
            ..Patience::default()
        };
        match print::open(&data, &address, access, patience) {
            Ok(printer) => {
                if let Some(certificate) = certificate {
                    print::remember(&data, &address, certificate)?;
                }
                Ok(Ok(printer))
            }
            Err(PrinterError::UnknownCertificate { place, shown }) => {
                Ok(Err(Answered::Certificate {
                    place,
                    shown: shown.to_string(),
                    message: "This printer shows a certificate that is not known here".to_owned(),
                    hint: "Compare it with the one on the printer's own page or display, if it \
                           shows one."
                        .to_owned(),
                }))
            }
            Err(PrinterError::ChangedCertificate { place, shown }) => {
                Ok(Err(Answered::Certificate {
                    place,
                    shown: shown.to_string(),
                    message: "This printer shows another certificate than before".to_owned(),
                    hint: "A new printer, a factory reset or a firmware update makes a new \
                           certificate. If none of these happened, something else may answer in the \
                           printer's place."
                        .to_owned(),
                }))
            }
            Err(e) if print::wants_password(&e) => Ok(Err(Answered::Password {
                message: e.to_string(),
            })),
            Err(e) => Err(e.into()),
        }
    }

    fn plan(&self, printer: &Printer) -> Result<Plan, Refusal> {
        let store = crate::open_store(Some(self.data.clone()))?;
        let setup = match &self.setup {
            Some(name) => Some(store.set_up_named(name)?),
            None => None,
        };
        let said = |text: &String| Some(text.trim().to_owned()).filter(|text| !text.is_empty());
        let sheets = said(&self.wish.sheets)
            .map(|text| text.parse::<Span>())
            .transpose()
            .map_err(|why| Refusal::new(why, "sheets are counted from 1 in this file"))?;
        let sides = match self.turned {
            None => Sides::OneSided,
            Some(flip) => {
                let sheet = match &setup {
                    Some(setup) => setup.paper.size(),
                    None => print::page_size(&Document::open(&self.file, self.opens.as_deref())?)?,
                };
                match flip.edge(sheet) {
                    BindingEdge::Long => Sides::TwoSidedLongEdge,
                    BindingEdge::Short => Sides::TwoSidedShortEdge,
                }
            }
        };
        let request = Request {
            file: self.file.clone(),
            password: self.opens.clone(),
            sheets: within(sheets, self.within)?,
            paper: None,
            sides,
            source: said(&self.wish.source),
            kind: said(&self.wish.kind),
            quality: self.wish.quality,
            output_bin: None,
            grey: false,
            as_raster: false,
            setup: self.setup.clone(),
        };
        print::plan(Some(&store), &request, printer)
    }

    /// Asks the printer, and says what would be printed.
    ///
    /// # Errors
    /// A [`Refusal`] where it cannot be asked, or the pass cannot be printed on it.
    pub fn ask(&self) -> Result<Answered, Refusal> {
        let printer = match self.open()? {
            Ok(printer) => printer,
            Err(asked) => return Ok(asked),
        };
        let plan = self.plan(&printer)?;
        // Where the file lies is the desk's own affair.
        let mut shown = plan.clone();
        shown.file = self.wish.file.clone().into();
        let lines = print::plan_in_words(&shown);
        Ok(Answered::Plan(PlanTold {
            printer: plan.printer.clone(),
            address: plan.address.clone(),
            sheets: plan.sheets(),
            first: plan.first_sheet,
            lines: lines
                .into_iter()
                .map(|(about, line)| (about.to_owned(), on_page(&line)))
                .collect(),
            at_stake: plan.at_stake.clone(),
            cautions: plan.cautions.iter().map(|text| on_page(text)).collect(),
            abilities: print::abilities_in_words(&printer.abilities)
                .iter()
                .map(|text| on_page(text))
                .collect(),
            sources: printer.abilities.sources.clone(),
            kinds: printer.abilities.types.clone(),
        }))
    }

    /// Prints what was agreed to.
    ///
    /// # Errors
    /// A [`Refusal`] where nothing was begun.
    pub fn print(
        &self,
        told: &mut dyn FnMut(&str, Option<usize>),
        cancel: &AtomicBool,
    ) -> Result<EndTold, Refusal> {
        let printer = match self.open()? {
            Ok(printer) => printer,
            Err(_) => {
                return Err(Refusal::new(
                    "the printer does not let this in as it did when it was asked",
                    "ask it again",
                ));
            }
        };
        let plan = self.plan(&printer)?;
        if self.wish.agreed != Some(plan.sheets()) {
            return Err(Refusal::new(
                format!(
                    "nobody agreed to print {} sheets of this pass",
                    plan.sheets()
                ),
                "look at what will be printed, then say yes",
            ));
        }
        let mut tell = |happening: &Happening| {
            let out = match happening {
                Happening::Sheets { out, .. } => Some(*out),
                _ => None,
            };
            told(&on_page(&print::happens_in_words(happening)), out);
        };
        let mut watch = Watch {
            tell: &mut tell,
            cancel,
            patience: PATIENCE,
            // Somebody looks at the page, or will.
            mend_within: None,
        };
        let outcome = print::print(&printer, &plan, &mut watch)?;
        let mut said = on_page(&print::ended_in_words(&outcome));
        let noted = crate::open_store(Some(self.data.clone()))
            .and_then(|mut store| print::note(&mut store, &plan, &outcome));
        if let Err(refusal) = noted {
            said.push_str(&format!(
                " (this is not in the run's log: {})",
                on_page(&refusal.message)
            ));
        }
        Ok(EndTold {
            printed: outcome.ended == print::Ending::Printed,
            in_words: said,
            go_on_from: outcome.go_on_from,
            last: outcome.last_sheet,
            counted: outcome.sheets_out.is_some(),
        })
    }
}

/// The sheets that are asked for, of those of this pass.
fn within(asked: Option<Span>, pass: Option<(usize, usize)>) -> Result<Option<Span>, Refusal> {
    let Some((first, last)) = pass else {
        return Ok(asked);
    };
    let span = Span {
        first: asked.map_or(first, |span| span.first),
        last: Some(asked.and_then(|span| span.last).unwrap_or(last)),
    };
    if span.first < first || span.last > Some(last) {
        return Err(Refusal::new(
            format!("this pass has the sheets {first} to {last} of the file"),
            "give some of these; the others belong to the other side",
        ));
    }
    Ok(Some(span))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_sheet_of_the_other_side_is_printed_with_a_pass() {
        let asked = |text: &str| {
            let span = (!text.is_empty()).then(|| text.parse().expect("a span"));
            within(span, Some((4, 6))).map(|span| span.map(|s| (s.first, s.last)))
        };
        assert_eq!(asked(""), Ok(Some((4, Some(6)))));
        assert_eq!(asked("5-"), Ok(Some((5, Some(6)))));
        assert_eq!(asked("5"), Ok(Some((5, Some(5)))));
        assert!(asked("1-").is_err() && asked("6-7").is_err());
        assert_eq!(within(None, None), Ok(None));
    }

    #[test]
    fn what_was_printed_when_the_program_ended_is_gone_on_with_from_the_next_sheet() {
        let plan = PlanTold {
            sheets: 6,
            first: 3,
            ..PlanTold::default()
        };
        let mut printing = Printing::begun(PrintWish::default(), plan);
        printing.hears("2 of 6 sheets are out", Some(2));
        printing.hears("The printer is out of paper.", None);
        assert_eq!(printing.said, ["The printer is out of paper."]);
        assert!(printing.was_cut_short());
        assert!(!printing.was_cut_short(), "it is told once");
        let ended = printing.ended.expect("an end");
        assert_eq!((ended.go_on_from, ended.last), (Some(5), 8));
        assert!(!ended.printed);
    }
}
