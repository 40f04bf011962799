//! Teaching Tympan how a printer lays its pile: two marked sheets, and a few questions.

use std::path::Path;

use serde::{Deserialize, Serialize};
use tympan_pdf::draw;
use tympan_press::behaviour::{Learnt, Seen, SeenAgain, learn, learn_again, reload};
use tympan_press::pictures;
use tympan_sheet::{Behaviour, LeadingEdge, Side};
use tympan_store::{SetUp, Store};

use super::told::ReloadTold;
use crate::correct::refuse_existing;
use crate::files::write_new;
use crate::refusal::Refusal;

/// What was seen.
#[derive(Clone, Copy, Debug, Default, Serialize, Deserialize)]
pub struct TeachRequest {
    /// After the first pass.
    pub seen: Seen,
    /// After the second one, where it was needed.
    #[serde(default)]
    pub again: Option<SeenAgain>,
}

/// What was learnt.
#[derive(Clone, Debug, Serialize)]
pub struct Taught {
    /// The version of this form.
    pub schema: u32,
    /// The set-up.
    pub setup: String,
    /// Whether one way back is left; it is then kept with the set-up.
    pub sure: bool,
    /// What is believed of the printer.
    pub behaviour: Behaviour,
    /// How a pile goes back for its second side, or is to be tried.
    pub reload: ReloadTold,
    /// What to bear in mind.
    pub cautions: Vec<String>,
}

/// The edge of the first pass's page that leads, as the set-up has it.
pub(super) fn page_leads(setup: &SetUp) -> LeadingEdge {
    match setup.first_side {
        Side::Front => setup.leading_edge,
        Side::Back => setup.leading_edge.on_back(setup.flip),
    }
}

/// The two pages that are printed on two marked sheets, as a PDF; with answers that leave a doubt,
/// the two pages of the second pass instead.
///
/// # Errors
/// A [`Refusal`] where the answers fit no printer.
pub fn trial_pdf(setup: &SetUp, seen: Option<&Seen>) -> Result<Vec<u8>, Refusal> {
    let paper = setup.paper.size();
    let pages = match seen {
        None => pictures::trial_pages(paper),
        Some(seen) => {
            let learnt = learn(seen, Some(page_leads(setup)), setup.flip)?;
            let back = reload(&learnt.behaviour(), setup.flip);
            pictures::second_trial_pages(paper, back.order)
        }
    };
    let meta = draw::Meta::new(format!("Tympan, two sheets for {}", setup.name));
    Ok(draw::write(&pages, &meta.duplex(draw::Duplex::Simplex))?)
}

/// Writes what [`trial_pdf`] makes into a file.
///
/// # Errors
/// A [`Refusal`] where the file exists or cannot be written.
pub fn trial(setup: &SetUp, request: Option<&TeachRequest>, output: &Path) -> Result<(), Refusal> {
    refuse_existing(output)?;
    let seen = request.map(|request| &request.seen);
    write_new(output, &trial_pdf(setup, seen)?)
}

/// What was learnt of a set-up's printer before; none where nothing was.
pub fn known(setup: &SetUp) -> Option<ReloadTold> {
    let behaviour = setup.behaviour?;
    Some(ReloadTold::new(&reload(&behaviour, setup.flip), true))
}

/// Learns from the answers, and keeps what is sure with the set-up.
///
/// # Errors
/// A [`Refusal`] where the answers fit no printer.
pub fn teach(store: &mut Store, setup: &SetUp, request: &TeachRequest) -> Result<Taught, Refusal> {
    let expected = page_leads(setup);
    let mut learnt = learn(&request.seen, Some(expected), setup.flip)?;
    if let (Learnt::Doubt(guess), Some(again)) = (learnt, &request.again) {
        learnt = learn_again(&request.seen, &guess, again, setup.flip)?;
    }
    let behaviour = learnt.behaviour();
    let sure = matches!(learnt, Learnt::Sure(_));
    let mut cautions = Vec::new();
    if sure {
        let changed = SetUp {
            behaviour: Some(behaviour),
            ..setup.clone()
        };
        store.change_set_up(&changed)?;
        if behaviour.leads != expected {
            cautions.push(format!(
                "The {} of the page goes in first, but \"{}\" says that it is the {expected}: its \
                 readings take the feed to run the other way.",
                behaviour.leads, setup.name
            ));
        }
    }
    Ok(Taught {
        schema: 1,
        setup: setup.name.clone(),
        sure,
        behaviour,
        reload: ReloadTold::new(&reload(&behaviour, setup.flip), sure),
        cautions,
    })
}
