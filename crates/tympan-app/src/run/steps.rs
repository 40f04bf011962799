//! What there is to do and to look at in a run, to tick while one works: the same on the job sheet
//! and on the page.

use serde::Serialize;
use tympan_press::loads::Weight;
use tympan_sheet::{BindingEdge, Flip, Grain};
use tympan_store::SetUp;

use super::told::RunTold;
use crate::words::counted;

/// Something to do or to look at.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Step {
    /// Its name among the steps of the run, for keeping what was ticked.
    pub key: String,
    /// What it is, in a line.
    pub text: String,
}

/// The steps of a run besides its passes, in their order. Figures marked * are common practice.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Steps {
    /// What to choose in a print dialog.
    pub dialog: Vec<Step>,
    /// Stock and tray, before anything is printed.
    pub before: Vec<Step>,
    /// With one sheet, before the run.
    pub make_ready: Vec<Step>,
    /// What to look at on the first sheet.
    pub first_sheet: Vec<Step>,
    /// When all is printed.
    pub after: Vec<Step>,
}

/// The steps of a run.
pub fn steps(told: &RunTold, setup: &SetUp) -> Steps {
    Steps {
        dialog: numbered("dialog", dialog(told, setup)),
        before: numbered("before", before(told, setup)),
        make_ready: numbered(
            "ready",
            vec![
                "on plain paper: right way up, right way round?".to_owned(),
                "on the stock: hold it to the light; cards behind one another?".to_owned(),
                "if not: measure, adjust the run, and once more".to_owned(),
            ],
        ),
        first_sheet: numbered("first", first_sheet(setup)),
        after: numbered(
            "after",
            [
                "let ink-jet prints dry fully, a day *, before laminating",
                "no laminated or film sheets through a laser printer, unless its maker allows it",
                "laminator rollers and fusers are hot: let them cool before you reach in",
                "cut by the marks, fronts up; blade away from fingers",
            ]
            .map(str::to_owned)
            .to_vec(),
        ),
    }
}

fn numbered(group: &str, texts: Vec<String>) -> Vec<Step> {
    let step = |(at, text): (usize, String)| Step {
        key: format!("{group}-{}", at + 1),
        text,
    };
    texts.into_iter().enumerate().map(step).collect()
}

fn dialog(told: &RunTold, setup: &SetUp) -> Vec<String> {
    let sides = match (told.first_side, setup.flip.edge(setup.paper.size())) {
        (Some(_), _) => "one-sided",
        (None, BindingEdge::Long) => "two-sided, long edge",
        (None, BindingEdge::Short) => "two-sided, short edge",
    };
    let mut all = vec![
        "actual size, 100 %: never fit or shrink to the page".to_owned(),
        sides.to_owned(),
        format!("paper {}", setup.paper.title()),
    ];
    let said = [
        ("from", &setup.feed),
        ("media type", &setup.media_type),
        ("quality", &setup.quality),
    ];
    let said = said.iter().filter(|(_, value)| !value.is_empty());
    all.extend(said.map(|(label, value)| format!("{label} {value}")));
    all.push("one copy, pages in the file's order, no reversing".to_owned());
    all
}

fn before(told: &RunTold, setup: &SetUp) -> Vec<String> {
    let most = told.loads.iter().map(|load| load.sheets).max().unwrap_or(0);
    let mut all = Vec::new();
    if told.under > 0 {
        all.push(format!(
            "{} sheets of the same thickness stay in the tray beneath: the last sheets then feed as \
             the first",
            told.under
        ));
    }
    let zone = match told.weight {
        Weight::Heavy => "under half a tray, as heavy or glossy stock wants *",
        Weight::Ordinary => "between half and three quarters of a tray *",
    };
    let most = counted(most, "sheet");
    all.push(format!("at most {most} at a time: {zone}"));
    all.push("fan the pile, square it up, flatten any curl".to_owned());
    all.push(match setup.stock.as_ref().and_then(|s| s.grain()) {
        Some(Grain::Long) => {
            "the grain runs along the long side: all sheets the same way".to_owned()
        }
        Some(Grain::Short) => {
            "the grain runs along the short side: all sheets the same way".to_owned()
        }
        None => "all sheets with the grain the same way".to_owned(),
    });
    all.push("guides against the pile, without bending it".to_owned());
    all
}

fn first_sheet(setup: &SetUp) -> Vec<String> {
    let arrows = match setup.flip {
        Flip::Sideways => "both arrows point to the same edge",
        Flip::Endways => "the arrows point to opposite edges",
    };
    [
        "front and back carry the same number",
        arrows,
        "backs lie behind their fronts against the light",
        "a 100 mm length measures 100 mm",
    ]
    .map(str::to_owned)
    .to_vec()
}
