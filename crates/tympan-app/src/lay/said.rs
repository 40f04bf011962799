//! What laying out has to tell.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use tympan_layout::Plan;
use tympan_pdf::impose::ImposeReport;

use super::planned::Planned;
use crate::words::counted;

/// The best plans of a job. The form of its JSON is part of the contract for scripts.
#[derive(Clone, Debug, Serialize)]
pub struct Shown {
    /// The version of this form.
    pub schema: u32,
    /// The paper's name.
    pub paper: String,
    /// The plans, the best first.
    pub plans: Vec<PlanSaid>,
    /// The cards, in the deck's order.
    pub cards: Vec<CardSaid>,
    /// What should be known.
    pub cautions: Vec<String>,
}

/// What was laid out.
#[derive(Clone, Debug, Serialize)]
pub struct Laid {
    /// The version of this form.
    pub schema: u32,
    /// The file that was written.
    pub output: PathBuf,
    /// The paper's name.
    pub paper: String,
    /// The plan that was taken.
    pub plan: PlanSaid,
    /// The set-up whose steady error was taken out, if one was.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub corrected_for: Option<String>,
    /// Pages of the file.
    pub pages: usize,
    /// Its length, bytes.
    pub bytes: u64,
    /// The files that tell how to cut.
    pub cut_files: Vec<PathBuf>,
    /// The piles that cutting gives, in the order in which they come together, and how many cards
    /// are in each.
    pub piles: Vec<PileSaid>,
    /// The cards, in the deck's order.
    pub cards: Vec<CardSaid>,
    /// What should be known.
    pub cautions: Vec<String>,
}

/// One plan.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PlanSaid {
    /// Its number, from 1, as `--plan` takes it.
    pub number: usize,
    /// What it is in a few words.
    pub title: String,
    /// Between neighbours, mm.
    pub gutter_mm: f64,
    /// Cards on a full sheet.
    pub per_sheet: usize,
    /// Sheets.
    pub sheets: usize,
    /// Cards that are made.
    pub cards: usize,
    /// What of the paper becomes no card, per cent.
    pub waste_percent: f64,
    /// How many of the cards are expected to come out wrong.
    pub expected_rejects: f64,
    /// Sheets that make up for them.
    pub spare_sheets: usize,
    /// Straight cuts of one sheet, where it can be cut so.
    pub cuts: Option<usize>,
    /// Whether the sheets are perforated or die-cut already.
    #[serde(default)]
    pub pre_cut: bool,
    /// Whether there is room for witness marks, where they are asked for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub witness_room: Option<bool>,
}

/// One card.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CardSaid {
    /// Its number among the cards that are found, from 1, as a job's `deck` takes it.
    pub number: usize,
    /// Its name, as `--only` takes it.
    pub name: String,
    /// How many of it.
    pub copies: u32,
    /// Whether it has a back.
    pub two_sided: bool,
    /// Its size after cutting, mm.
    pub size_mm: [f64; 2],
}

/// One pile of cut cards.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PileSaid {
    /// Which cell of its sheets, from 1, read like a text.
    pub cell: usize,
    /// How many cards.
    pub count: usize,
    /// The card on top.
    pub first: String,
    /// The card at the bottom.
    pub last: String,
}

impl PlanSaid {
    /// What it is and what it comes to.
    pub fn in_words(&self) -> String {
        let gutter = if self.pre_cut {
            "cut already".to_owned()
        } else if self.gutter_mm > 0.0 {
            format!("{} mm between cards", self.gutter_mm)
        } else {
            "one cut between cards".to_owned()
        };
        let cuts = match self.cuts {
            _ if self.pre_cut => "no cuts".to_owned(),
            Some(cuts) => counted(cuts, "cut"),
            None => "cut around".to_owned(),
        };
        let witness = match self.witness_room {
            Some(false) => "; no room for witness marks",
            _ => "",
        };
        format!(
            "{}, {gutter}: {} on a sheet, {}; {cuts}; {:.0} % of the paper wasted; {:.1} of {} \
             cards expected to go wrong{witness}",
            self.title,
            self.per_sheet,
            counted(self.sheets, "sheet"),
            self.waste_percent,
            self.expected_rejects,
            self.cards
        )
    }

    /// How many sheets to have at hand for cards that go wrong; empty where none are needed.
    pub fn spares_in_words(&self) -> String {
        match self.spare_sheets {
            0 => String::new(),
            n => format!(
                "Have {} more at hand for those that go wrong.",
                counted(n, "sheet")
            ),
        }
    }
}

impl Laid {
    /// What was laid on how many sheets: a sentence.
    pub fn answer(&self) -> String {
        format!(
            "{} on {} of {}.",
            counted(self.plan.cards, "card"),
            counted(self.plan.sheets, "sheet"),
            self.paper
        )
    }
}

pub(super) fn shown(planned: &Planned) -> Shown {
    Shown {
        schema: 1,
        paper: planned.paper.title(),
        plans: (0..planned.plans.len()).map(|i| plan(planned, i)).collect(),
        cards: cards(planned),
        cautions: planned.cautions.clone(),
    }
}

pub(super) fn laid(
    planned: &Planned,
    chosen: usize,
    output: &Path,
    report: &ImposeReport,
    cut_files: Vec<PathBuf>,
) -> Laid {
    let (made, _) = &planned.plans[chosen];
    Laid {
        schema: 1,
        output: output.to_owned(),
        paper: planned.paper.title(),
        plan: plan(planned, chosen),
        corrected_for: planned
            .learnt()
            .filter(|_| made.is_two_sided())
            .map(|(setup, _)| setup.name.clone()),
        pages: report.pages,
        bytes: report.bytes,
        cut_files,
        piles: piles(made),
        cards: cards(planned),
        cautions: planned.cautions.clone(),
    }
}

pub(super) fn plan(planned: &Planned, index: usize) -> PlanSaid {
    let (plan, gutter) = &planned.plans[index];
    let figures = &plan.figures;
    PlanSaid {
        number: index + 1,
        title: plan.title.clone(),
        gutter_mm: *gutter,
        per_sheet: figures.most_per_sheet,
        sheets: figures.sheets,
        cards: figures.pieces,
        waste_percent: 100.0 * figures.waste,
        expected_rejects: figures.expected_rejects,
        spare_sheets: figures.spare_sheets,
        cuts: figures.cuts,
        pre_cut: plan.pre_cut,
        witness_room: planned.witness_room.get(index).copied(),
    }
}

fn cards(planned: &Planned) -> Vec<CardSaid> {
    planned.found.cards.iter().map(card).collect()
}

pub(super) fn card(card: &super::gather::Card) -> CardSaid {
    CardSaid {
        number: card.number,
        name: card.name.clone(),
        copies: card.copies,
        two_sided: card.back.is_some(),
        size_mm: [card.shape.size().w, card.shape.size().h],
    }
}

pub(super) fn piles(plan: &Plan) -> Vec<PileSaid> {
    let name = |piece: usize| plan.pieces[piece].name.clone();
    let said = |pile: tympan_layout::Pile| PileSaid {
        cell: pile.cell + 1,
        count: pile.count,
        first: name(pile.first.piece),
        last: name(pile.last.piece),
    };
    plan.piles().into_iter().map(said).collect()
}
